import type { ListenerObservation, SeqRange } from "@dyetrace/locate";
import type { ReportReceipt } from "@dyetrace/wire";
import type { CompiledRun, PlannedJoin } from "../engine/compile-scenario.ts";
import type { RunEvidence } from "../engine/conduct-run.ts";
import { type Reception, receptionOf } from "../engine/stream-evidence.ts";

/** Gaps that one receipt lists; those that miss most, in order of time. */
const MOST_GAPS = 1000;

/** One receipt for each planned join, in the order of `joins`. */
export function reportReceipts(
  run: CompiledRun,
  evidence: RunEvidence,
  observations: readonly ListenerObservation[],
): ReportReceipt[] {
  return run.joins.map((join, index) => {
    const stream = run.streams.find((candidate) => candidate.name === join.stream);
    const reception = stream === undefined ? null : receptionOf(evidence, join.agent, stream.streamId);
    return reportReceipt(join, observations[index], reception);
  });
}

function reportReceipt(
  join: PlannedJoin,
  seen: ListenerObservation | undefined,
  reception: Reception | null,
): ReportReceipt {
  const base = { stream: join.stream, listener: join.agent };
  if (reception === null || seen === undefined) return { ...base, ...NOTHING_KNOWN };
  const { receipt } = reception;
  const sent = seen.window === null ? null : size(seen.window);
  const missing = sent === null ? null : seen.lost.reduce((sum, range) => sum + size(range), 0);
  // What this host dropped is its own loss, never the network's; it can't be more than what is missing.
  const lost = missing === null ? null : Math.max(0, missing - (receipt.hostLost ?? 0));
  const jitterNs = receipt.jitterNs;
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
    joinDelayMs: joinDelayMs(reception),
    leaveDelayMs: null,
    hops: null,
    asUnicastRatio: receipt.knownFrames === 0 ? null : receipt.unicastFrames / receipt.knownFrames,
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

/**
 * From the join to the first packet (RFC 3918 6.1). Only where traffic was flowing before the join: otherwise the first
 * packet waited for the source.
 */
function joinDelayMs({ memberships }: Reception): number | null {
  const first = memberships[0];
  if (first === undefined || first.firstPacketNs === null) return null;
  return (first.firstPacketNs - first.joinRequestedNs) / 1e6;
}
