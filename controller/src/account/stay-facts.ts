import type { MembershipEvent } from "@dyetrace/wire";
import type { CompiledRun, CompiledStream, PlannedJoin } from "../plan/compiled-run.ts";
import type { AgentAccount } from "./agent-account.ts";
import { getOrAdd } from "./get-or-add.ts";
import { isImpossible } from "./impossible-reception.ts";
import { joinReceptions, type Reception } from "./receptions.ts";
import type { SeenFrames } from "./seen-frames.ts";
import type { SourceAccount } from "./source-account.ts";

/** One planned stay of one agent in one group, with what its host and the source know of it. */
export interface StayFacts {
  readonly stream: CompiledStream;
  readonly join: PlannedJoin;
  /** When this agent is to join the same stream again; null when it is not. */
  readonly nextJoinNs: number | null;
  /** Null when its agent told nothing of it, or what cannot be. */
  readonly reception: Reception | null;
  /** Over the whole run; null on a host that can't watch. */
  readonly frames: SeenFrames | null;
  /** Queries, reports and leaves at this host over the whole run; null on a host that can't watch. */
  readonly events: readonly MembershipEvent[] | null;
  /** Null if the source told nothing. */
  readonly source: SourceAccount | null;
}

/** An action is carried out within this time of its plan, whatever the host's clock is off by. */
const EARLY_NS = 100e6;

/** Every planned stay, in the order of `run.joins`. */
export function stayFacts(
  run: CompiledRun,
  agents: ReadonlyMap<string, AgentAccount>,
  sources: ReadonlyMap<string, SourceAccount>,
): readonly StayFacts[] {
  const streams = new Map(run.streams.map((stream) => [stream.name, stream]));
  const joinTimes = joinTimesOf(run);
  return run.joins.map((join) => {
    const stream = streams.get(join.stream);
    if (stream === undefined) throw new Error(`A join names the unknown stream ${join.stream}`);
    const agent = agents.get(join.agent);
    const source = sources.get(stream.name) ?? null;
    const nextJoinNs = joinTimes.get(keyOf(join))?.find((fromNs) => fromNs > join.fromNs) ?? null;
    const untilNs = (nextJoinNs ?? Number.POSITIVE_INFINITY) - EARLY_NS;
    const own = (agent?.receptions.get(stream.streamId) ?? []).filter(
      ({ membership: { joinRequestedNs: atNs } }) => atNs >= join.fromNs - EARLY_NS && atNs < untilNs,
    );
    const reception = joinReceptions(own);
    return {
      stream,
      join,
      nextJoinNs,
      reception: reception === null || isImpossible(reception, source) ? null : reception,
      // The watcher reads the numbers of our own packets alone.
      frames: stream.production === undefined ? (agent?.watch.framesOf(stream.streamId) ?? null) : null,
      events: agent?.heard?.events ?? null,
      source,
    };
  });
}

const keyOf = ({ stream, agent }: PlannedJoin): string => `${stream} ${agent}`;

/** When each agent is to join each stream, ascending. */
function joinTimesOf({ joins }: CompiledRun): ReadonlyMap<string, readonly number[]> {
  const times = new Map<string, number[]>();
  for (const join of joins) getOrAdd(times, keyOf(join), () => []).push(join.fromNs);
  for (const own of times.values()) own.sort((a, b) => a - b);
  return times;
}
