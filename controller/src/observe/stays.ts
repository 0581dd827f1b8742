import type { MembershipEvent } from "@dyetrace/wire";
import type { CompiledRun, CompiledStream, PlannedJoin } from "../plan/compiled-run.ts";
import { impossibleTo } from "./impossible-reception.ts";
import type { RunEvidence } from "./run-evidence.ts";
import { sendingStretches } from "./sending-stretches.ts";
import { SentCount } from "./sent-count.ts";
import { type Emission, emissionOf, type Reception, receptionsOf } from "./stream-evidence.ts";
import { heardMembership, type SeenFrames, seenFrames } from "./watch-evidence.ts";

/** One planned stay of one agent in one group, with what its host and the source know of it. */
export interface Stay {
  readonly run: CompiledRun;
  readonly stream: CompiledStream;
  readonly join: PlannedJoin;
  /** When this agent is to join the same stream again; null when it is not. */
  readonly nextJoinNs: number | null;
  /** Null when its agent told nothing of it. */
  readonly reception: Reception | null;
  /** Over the whole run; null on a host that can't watch. */
  readonly frames: SeenFrames | null;
  /** Queries, reports and leaves at this host over the whole run; null on a host that can't watch. */
  readonly events: readonly MembershipEvent[] | null;
  readonly source: SourceAccount | null;
}

/** What is known of a stream's sending; the stretches are as planned. */
export interface SourceAccount {
  readonly emission: Emission;
  readonly sent: SentCount;
}

/** An action is carried out within this time of its plan, whatever the host's clock is off by. */
const EARLY_NS = 100e6;

/** Every planned stay, in the order of `run.joins`. */
export function staysOf(run: CompiledRun, evidence: RunEvidence): readonly Stay[] {
  const streams = new Map(run.streams.map((stream) => [stream.name, stream]));
  const receptions = new Map([...evidence.agents].map(([agent, one]) => [agent, receptionsOf(one)]));
  const events = new Map([...evidence.agents].map(([agent, one]) => [agent, heardMembership(one)?.events ?? null]));
  const accounts = new Map(run.streams.map((stream) => [stream.name, accountOf(run, stream, evidence)]));
  const impossible = new Map(run.streams.map((stream) => [stream.name, impossibleTo(stream, evidence)]));
  return run.joins.map((join) => {
    const stream = streams.get(join.stream);
    if (stream === undefined) throw new Error(`A join names the unknown stream ${join.stream}`);
    const later = run.joins.filter(
      (other) => other.stream === join.stream && other.agent === join.agent && other.fromNs > join.fromNs,
    );
    const nextJoinNs = later.length === 0 ? null : Math.min(...later.map((other) => other.fromNs));
    const untilNs = (nextJoinNs ?? Number.POSITIVE_INFINITY) - EARLY_NS;
    const reception = receptions
      .get(join.agent)
      ?.get(stream.streamId)
      ?.find(({ membership: { joinRequestedNs: atNs } }) => atNs >= join.fromNs - EARLY_NS && atNs < untilNs);
    const isFalse = reception !== undefined && impossible.get(stream.name)?.(reception) === true;
    return {
      run,
      stream,
      join,
      nextJoinNs,
      reception: reception === undefined || isFalse ? null : reception,
      frames: seenFrames(evidence.agents.get(join.agent), stream.streamId),
      events: events.get(join.agent) ?? null,
      source: accounts.get(stream.name) ?? null,
    };
  });
}

export function accountOf(run: CompiledRun, stream: CompiledStream, evidence: RunEvidence): SourceAccount | null {
  const emission = emissionOf(evidence, stream.source, stream.streamId);
  if (emission === null) return null;
  return { emission, sent: new SentCount(emission, sendingStretches(run, stream)) };
}
