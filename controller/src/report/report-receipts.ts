import type { ListenerObservation, SeqRange } from "@dyetrace/locate";
import type { ReportReceipt } from "@dyetrace/wire";
import type { CompiledRun } from "../engine/compile-scenario.ts";
import type { RunEvidence } from "../engine/conduct-run.ts";
import { joinDelayOf, leaveDelayOf, type Stay } from "../engine/membership-delays.ts";
import { type Reception, receptionOf } from "../engine/stream-evidence.ts";
import { heardMembership, seenFrames } from "../engine/watch-evidence.ts";

/** Gaps that one receipt lists; those that miss most, in order of time. */
const MOST_GAPS = 1000;

/** One receipt for each planned join, in the order of `joins`. */
export function reportReceipts(
  run: CompiledRun,
  evidence: RunEvidence,
  observations: readonly ListenerObservation[],
): ReportReceipt[] {
  const stays = new Map<string, number>();
  return run.joins.map((join, position) => {
    const stream = run.streams.find((candidate) => candidate.name === join.stream);
    if (stream === undefined) throw new Error(`A join names the unknown stream ${join.stream}`);
    const index = stays.get(`${join.stream} ${join.agent}`) ?? 0;
    stays.set(`${join.stream} ${join.agent}`, index + 1);
    const reception = receptionOf(evidence, join.agent, stream.streamId);
    const frames = seenFrames(evidence, join.agent, stream.streamId);
    const events = heardMembership(evidence.agents.get(join.agent))?.events ?? null;
    return reportReceipt({ run, stream, join, index, reception, frames, events }, observations[position]);
  });
}

function reportReceipt(stay: Stay, seen: ListenerObservation | undefined): ReportReceipt {
  const { join, stream, reception, frames } = stay;
  const base = { stream: join.stream, listener: join.agent };
  if (reception === null || seen === undefined) return { ...base, ...NOTHING_KNOWN };
  const { receipt } = reception;
  const sent = seen.window === null ? null : size(seen.window);
  const missing = sent === null ? null : seen.lost.reduce((sum, range) => sum + size(range), 0);
  // What this host dropped is its own loss, never the network's; it can't be more than what is missing.
  const lost = missing === null ? null : Math.max(0, missing - (receipt.hostLost ?? 0));
  const jitterNs = receipt.jitterNs;
  const joining = joinDelayOf(stay);
  const leave = leaveDelayOf(stay);
  return {
    ...base,
    sent,
    received: receipt.firstCopies,
    lost,
    lossRatio: lost === null || sent === null || sent === 0 ? null : lost / sent,
    hostLost: receipt.hostLost,
    duplicates: receipt.duplicates,
    reordered: receipt.reordered,
    gaps: gapsOf(reception),
    longestGapMs: receipt.firstCopies === 0 ? null : (receipt.longestGap?.durationNs ?? 0) / 1e6,
    jitterMs: jitterNs === null ? null : jitterNs / 1e6,
    joinDelayMs: joining?.kind === "measured" ? joining.delayNs / 1e6 : null,
    leaveDelayMs: leave?.kind === "measured" ? leave.delayNs / 1e6 : null,
    hops: receipt.ttlMin === null ? null : stream.ttl - receipt.ttlMin,
    asUnicastRatio: frames === null || frames.frames === 0 ? null : frames.asUnicastFrames / frames.frames,
    foreign: reception.foreignPackets,
  };
}

const NOTHING_KNOWN = {
  sent: null,
  received: null,
  lost: null,
  lossRatio: null,
  hostLost: null,
  duplicates: null,
  reordered: null,
  gaps: [],
  longestGapMs: null,
  jitterMs: null,
  joinDelayMs: null,
  leaveDelayMs: null,
  hops: null,
  asUnicastRatio: null,
  foreign: null,
};

const size = ([first, last]: SeqRange): number => last - first + 1;

function gapsOf({ receipt }: Reception): ReportReceipt["gaps"] {
  return receipt.spans
    .flatMap((span) => span.lost)
    .map(([firstSeq, count, startNs, durationNs]) => ({
      firstSeq,
      count,
      startMs: startNs === null ? null : startNs / 1e6,
      durationMs: durationNs === null ? null : durationNs / 1e6,
    }))
    .sort((a, b) => b.count - a.count)
    .slice(0, MOST_GAPS)
    .sort((a, b) => a.firstSeq - b.firstSeq);
}
