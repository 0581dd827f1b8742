import { greatestOf, groupBy, type TaskAction } from "@dyetrace/wire";
import type { CompiledStream } from "../plan/compiled-run.ts";

/** Groups that an agent is a member of at a time, lest the look itself fill group tables. */
const MOST_AT_ONCE = 8;
/** What one agent joins at most, one after the other: each has a socket from the start of the look. */
const MOST_IN_TURN = 64;
/** As long as stand-alone `send` listens. */
const LEAST_TURN_NS = 2e9;

/** Which agents join which groups when, in a look before a run. */
export interface LookJoins {
  readonly actions: ReadonlyMap<string, readonly TaskAction[]>;
  /** When the last of them is left. */
  readonly endNs: number;
  /** Groups that nobody joins: they are only watched for. */
  readonly unjoined: number;
}

/**
 * Behind snooping a host sees only what somebody behind its port has joined, so the look joins. Every agent joins the first
 * few groups; the others are shared out, and each is joined by one agent, some at a time.
 * @param mostJoins by agent: how many streams its host's file lets it join
 */
export function planLookJoins(
  streams: readonly CompiledStream[],
  mostJoins: ReadonlyMap<string, number>,
  durationNs: number,
): LookJoins {
  const groups = [...groupBy(streams, ({ group }) => group).values()].flatMap(([first]) => first ?? []);
  const everywhere = groups.slice(0, MOST_AT_ONCE);
  const { shares, unjoined } = shareOut(groups.slice(MOST_AT_ONCE), mostJoins);
  const turns = greatestOf(
    [...shares.values()].map(({ length }) => Math.ceil(length / MOST_AT_ONCE)),
    0,
  );
  const turnNs = Math.max(LEAST_TURN_NS, durationNs / Math.max(1, turns));
  const stay = ({ streamId }: CompiledStream, atNs: number, forNs: number): TaskAction[] => [
    { kind: "join", atNs, streamId },
    { kind: "leave", atNs: atNs + forNs, streamId },
  ];
  const actions = new Map(
    [...mostJoins].map(([agent, most]): [string, TaskAction[]] => {
      const own = shares.get(agent) ?? [];
      const all = [
        ...everywhere.slice(0, most).flatMap((stream) => stay(stream, 0, durationNs)),
        ...own.flatMap((stream, at) => stay(stream, durationNs + Math.floor(at / MOST_AT_ONCE) * turnNs, turnNs)),
      ];
      return [agent, all.sort((a, b) => a.atNs - b.atNs)];
    }),
  );
  return { actions, endNs: durationNs + turns * turnNs, unjoined };
}

/** Each of these to one agent, as evenly as their hosts' files allow. */
function shareOut(
  others: readonly CompiledStream[],
  mostJoins: ReadonlyMap<string, number>,
): { readonly shares: ReadonlyMap<string, readonly CompiledStream[]>; readonly unjoined: number } {
  const shares = new Map([...mostJoins.keys()].map((agent): [string, CompiledStream[]] => [agent, []]));
  let left = others;
  while (left.length > 0) {
    const open = [...shares].filter(
      ([agent, own]) => own.length < Math.min(MOST_IN_TURN, (mostJoins.get(agent) ?? 0) - MOST_AT_ONCE),
    );
    if (open.length === 0) break;
    for (const [at, [, own]] of open.entries()) own.push(...left.slice(at, at + 1));
    left = left.slice(open.length);
  }
  return { shares, unjoined: left.length };
}
