import type { JoinDelay, LeaveDelay } from "@dyetrace/measure";
import type { CompiledRun } from "../plan/compiled-run.ts";
import type { AgentAccount } from "./agent-account.ts";
import { type CompanionCount, companionCount } from "./companion-count.ts";
import { joinDelayOf, leaveDelayOf } from "./membership-delays.ts";
import type { SeenPart } from "./seen-frames.ts";
import type { StayFacts } from "./stay-facts.ts";
import { numbersOf, type StayNumbers } from "./stay-numbers.ts";

/** One planned stay of one agent in one group, and all that follows from what its host and the source say of it. */
export interface Stay extends StayFacts {
  /** Null when its agent told nothing of the stay. */
  readonly numbers: StayNumbers | null;
  /** Frames at the network card, of intervals that lie within the stay as a whole. */
  readonly ownFrames: readonly SeenPart[];
  /** Null when nobody can say. */
  readonly joinDelay: JoinDelay | null;
  /** Null when nobody watched, or this stay has no leave. */
  readonly leaveDelay: LeaveDelay | null;
  /** Of the slow unicast stream beside this one; null where there is none or nobody can say. */
  readonly companion: CompanionCount | null;
  /** Packets at the group and port that were not the stream's own, over the whole run; null if nobody can say. */
  readonly strangePackets: number | null;
}

export function stayOf(run: CompiledRun, facts: StayFacts, agents: ReadonlyMap<string, AgentAccount>): Stay {
  const { join, stream, reception, source } = facts;
  const warmUpNs = run.scenario.expect.warmUpNs ?? null;
  return {
    ...facts,
    numbers: reception === null ? null : numbersOf(join, stream, reception, source, warmUpNs),
    ownFrames: framesWithin(run, facts),
    joinDelay: joinDelayOf(run, facts),
    leaveDelay: leaveDelayOf(run, facts),
    companion: companionCount(run, facts, agents),
    strangePackets: agents.get(join.agent)?.ending?.strangePackets.get(stream.streamId) ?? null,
  };
}

function framesWithin(run: CompiledRun, { frames, reception }: StayFacts): SeenPart[] {
  if (frames === null || reception === null) return [];
  const { joinRequestedNs, leaveRequestedNs } = reception.membership;
  const untilNs = leaveRequestedNs ?? run.endNs;
  return frames.parts.filter(({ firstNs, lastNs }) => firstNs >= joinRequestedNs && lastNs <= untilNs);
}

/** Share of the frames that came in unicast frames during these stays, as far as whole intervals tell. */
export function unicastRatio(stays: readonly Stay[]): number | null {
  const parts = stays.flatMap(({ ownFrames }) => ownFrames);
  const frames = parts.reduce((sum, part) => sum + part.frames, 0);
  return frames === 0 ? null : parts.reduce((sum, part) => sum + part.asUnicastFrames, 0) / frames;
}
