import { greatestOf, leastOf, type ReportIncident } from "@dyetrace/wire";
import { groupBy } from "@dyetrace/wire/group-by";
import { getOrAdd } from "../account/get-or-add.ts";
import type { CompiledRun } from "../plan/compiled-run.ts";
import type { Episode } from "../store/pack/kept-report.ts";
import { counted, type IncidentFacts, incidentFacts, listed } from "./incident-facts.ts";
import type { ExplainedLosses, LossCause, LossCauses } from "./loss-causes.ts";
import { TOGETHER_NS } from "./together.ts";

/** That many things hardly go wrong at one instant: of more, what was hit is told, and no place. Common practice, no source. */
const MOST_CAUSES = 3;

/**
 * Losses of one time as incidents: one for each place that explains a part of them; one without a place where none does.
 * @param outages when sources themselves were out of work
 */
export function lossIncidents(
  members: readonly Episode[],
  run: CompiledRun,
  outages: readonly Episode[],
  causes: LossCauses,
): ReportIncident[] {
  const bySource = new Map<string, Episode[]>();
  const rest: Episode[] = [];
  for (const one of members) {
    const absent = absentSource(one, run, outages);
    if (absent === null) rest.push(one);
    else getOrAdd(bySource, absent, () => []).push(one);
  }
  const unsent = [...bySource].map(([absent, own]): ReportIncident => {
    const facts = incidentFacts(own, run);
    const title = `${whatWasLost(facts)}, while its source ${absent} was not at work`;
    return { kind: "source", ...facts.base, suspects: [], title };
  });
  if (rest.length === 0) return unsent;
  const placed = partsOf(causes.of(rest)).flatMap(({ cause, episodes }) =>
    inTurn(episodes).map((own) => {
      const facts = incidentFacts(own, run);
      return atPlace(cause, facts, whatWasLost(facts));
    }),
  );
  return [...unsent, ...placed];
}

/** Losses whose place nobody asked for: listener by listener, so that those of one name can be summed up. */
export function untoldLosses(members: readonly Episode[], run: CompiledRun): ReportIncident[] {
  return [...groupBy(members, ({ agent }) => agent).values()].map((own) => {
    const facts = incidentFacts(own, run);
    return atPlace(null, facts, `${whatWasLost(facts)} (one of many small losses, whose places were not asked for)`);
  });
}

/** The same place fails at one time and again at another: each by itself. */
function inTurn(episodes: readonly Episode[]): Episode[][] {
  const turns: Episode[][] = [];
  let toNs = Number.NEGATIVE_INFINITY;
  for (const one of episodes.toSorted((a, b) => a.fromNs - b.fromNs)) {
    if (one.fromNs > toNs + TOGETHER_NS) turns.push([one]);
    else turns.at(-1)?.push(one);
    toNs = Math.max(toNs, one.toNs);
  }
  return turns;
}

/** A loss whose place is told where it is known. */
export function atPlace(cause: LossCause | null, { base }: IncidentFacts, what: string): ReportIncident {
  if (cause === null) return { kind: "loss", ...base, suspects: [], title: what };
  const suspects = [...cause.suspects];
  const title = `${what}, by way of ${listed(suspects)}`;
  return { kind: "loss", ...base, suspects, confidence: cause.confidence, title };
}

const whatWasLost = ({ base: { streams, count }, who, lasted }: IncidentFacts): string =>
  `${listed(streams)} ${count > 0 ? `lost ${counted(count, "packet")}` : "fell silent"} at ${who} within ${lasted}`;

export interface LossPart {
  /** Null: nobody can say where. */
  readonly cause: LossCause | null;
  readonly episodes: readonly Episode[];
}

/** Each episode with the first cause that explains it; what is left comes last. */
export function partsOf({ episodes, causes }: ExplainedLosses): LossPart[] {
  let left = episodes;
  const parts: LossPart[] = [];
  for (const cause of causes) {
    const own = left.filter((one) => cause.isOf(one));
    if (own.length > 0) parts.push({ cause, episodes: own });
    left = left.filter((one) => !cause.isOf(one));
  }
  const unknown = left.length === 0 ? [] : [{ cause: null, episodes: left }];
  return mostAtOnce(parts) > MOST_CAUSES ? [{ cause: null, episodes }] : [...parts, ...unknown];
}

/** Parts that were under way at the same instant. */
function mostAtOnce(parts: readonly LossPart[]): number {
  const changes = parts
    .flatMap(({ episodes }) => [
      { atNs: leastOf(episodes.map(({ fromNs }) => fromNs)), by: 1 },
      { atNs: greatestOf(episodes.map(({ toNs }) => toNs)), by: -1 },
    ])
    .toSorted((a, b) => a.atNs - b.atNs || a.by - b.by);
  let now = 0;
  return greatestOf(changes.map(({ by }) => (now += by)));
}

/** @returns the agent whose absence explains that its stream did not come for most of that time, or null */
function absentSource(one: Episode, run: CompiledRun, outages: readonly Episode[]): string | null {
  const source = run.streams.find(({ streamId }) => streamId === one.streamId)?.source;
  const explains = outages.find((outage) => {
    if (outage.agent !== source) return false;
    // A source that stopped does not begin again.
    const endNs = outage.kind === "source-stop" ? Number.POSITIVE_INFINITY : outage.toNs + TOGETHER_NS;
    const commonNs = Math.min(one.toNs, endNs) - Math.max(one.fromNs, outage.fromNs - TOGETHER_NS);
    return commonNs >= 0 && commonNs >= (one.toNs - one.fromNs) / 2;
  });
  return explains?.agent ?? null;
}
