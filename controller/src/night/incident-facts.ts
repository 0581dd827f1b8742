import { formatCount, formatDurationNs, type ReportIncident } from "@dyetrace/wire";
import type { CompiledRun } from "../plan/compiled-run.ts";
import type { Episode, EpisodeKind } from "../store/pack/kept-report.ts";
import { lostTimeNs } from "./lost-time.ts";

/** Figures and words that the telling of any incident needs. */
export interface IncidentFacts {
  readonly base: Pick<ReportIncident, "fromMs" | "toMs" | "streams" | "agents" | "count" | "withoutMs">;
  readonly fromNs: number;
  readonly toNs: number;
  /** The agents in words. */
  readonly who: string;
  /** How long it lasted, in words. */
  readonly lasted: string;
  /** What its episodes say, each once and the first few of it; empty if none says anything. */
  readonly detail: string;
}

/** What a listener did not get. */
const IS_MISSING: ReadonlySet<EpisodeKind> = new Set<EpisodeKind>(["loss", "silence", "host-loss"]);

/** @param members episodes of one incident, one at least */
export function incidentFacts(members: readonly Episode[], run: CompiledRun): IncidentFacts {
  const nameOf = new Map(run.streams.map(({ streamId, name }) => [streamId, name]));
  let [fromNs, toNs] = [Number.POSITIVE_INFINITY, Number.NEGATIVE_INFINITY];
  for (const one of members) {
    fromNs = Math.min(fromNs, one.fromNs);
    toNs = Math.max(toNs, one.toNs);
  }
  const streams = members.flatMap(({ streamId }) => (streamId === null ? [] : (nameOf.get(streamId) ?? [])));
  const missing = members.filter(({ kind }) => IS_MISSING.has(kind));
  const agents = [...new Set(members.flatMap(({ agent }) => (agent === "" ? [] : agent)))];
  return {
    base: {
      fromMs: fromNs / 1e6,
      toMs: toNs / 1e6,
      streams: [...new Set(streams)],
      agents,
      count: members.reduce((sum, one) => sum + one.count, 0),
      ...(missing.length === 0 ? {} : { withoutMs: lostTimeNs(missing, run) / 1e6 }),
    },
    fromNs,
    toNs,
    who: listed(agents),
    lasted: formatDurationNs(toNs - fromNs),
    detail: [...saidBy(members)].join("; "),
  };
}

const MOST_SAID = 3;

function saidBy(members: readonly Episode[]): ReadonlySet<string> {
  const said = new Set<string>();
  for (const { detail } of members) {
    if (said.size === MOST_SAID) break;
    if (detail !== "") said.add(detail);
  }
  return said;
}

/** How many of something, `1 packet` or `2 packets`. @param one its name where it is one */
export const counted = (count: number, one: string): string => `${formatCount(count)} ${one}${count === 1 ? "" : "s"}`;

/** The first few names, and how many more. */
export function listed(names: readonly string[]): string {
  if (names.length === 0) return "an agent";
  return names.length <= 4 ? names.join(", ") : `${names.slice(0, 3).join(", ")} and ${names.length - 3} more`;
}
