import type { Followed, IntervalReport, ListenerInterval, Membership, SenderInterval } from "@dyetrace/wire";

/**
 * A report of a task that began `shiftNs` after the run's start, with all its instants counted from the run's start.
 */
export function shiftReport(report: IntervalReport, shiftNs: number): IntervalReport {
  if (shiftNs === 0) return report;
  const at = <T extends number | null>(instantNs: T): T =>
    (instantNs === null ? null : (instantNs as number) + shiftNs) as T;
  const membership = (stay: Membership): Membership => ({
    ...stay,
    joinRequestedNs: at(stay.joinRequestedNs),
    firstPacketNs: at(stay.firstPacketNs),
    lastPacketNs: at(stay.lastPacketNs),
    leaveRequestedNs: at(stay.leaveRequestedNs),
  });
  const listener = (entry: ListenerInterval): ListenerInterval => ({
    ...entry,
    memberships: entry.memberships.map(membership),
    receipt: entry.receipt === null ? null : shiftReceipt(entry.receipt, at),
    ...(entry.followed === undefined ? {} : { followed: shiftFollowed(entry.followed, at) }),
  });
  const sender = (entry: SenderInterval): SenderInterval => ({
    ...entry,
    stalls: entry.stalls.map((stall) => ({ ...stall, atNs: at(stall.atNs) })),
  });
  const { totals, sourcesStopped } = report;
  return {
    ...report,
    fromNs: at(report.fromNs),
    toNs: at(report.toNs),
    listeners: report.listeners.map(listener),
    senders: report.senders.map(sender),
    sourcesStopped: sourcesStopped === null ? null : { ...sourcesStopped, atNs: at(sourcesStopped.atNs) },
    totals:
      totals === null
        ? null
        : { ...totals, listeners: totals.listeners.map(listener), senders: totals.senders.map(sender) },
  };
}

const shiftFollowed = (followed: Followed, at: <T extends number | null>(instantNs: T) => T): Followed => ({
  ...followed,
  rtp: followed.rtp.map((flow) => ({ ...flow, receipt: shiftReceipt(flow.receipt, at) })),
  digest: {
    ...followed.digest,
    names: followed.digest.names.map((block) => ({ ...block, baseNs: at(block.baseNs) })),
  },
});

type Receipt = NonNullable<ListenerInterval["receipt"]>;

const shiftReceipt = (receipt: Receipt, at: <T extends number | null>(instantNs: T) => T): Receipt => ({
  ...receipt,
  longestGap: receipt.longestGap === null ? null : { ...receipt.longestGap, startNs: at(receipt.longestGap.startNs) },
  longestSilence:
    receipt.longestSilence === null ? null : { ...receipt.longestSilence, startNs: at(receipt.longestSilence.startNs) },
  firstArrivalNs: at(receipt.firstArrivalNs),
  lastArrivalNs: at(receipt.lastArrivalNs),
  spans: receipt.spans.map((span) => ({
    ...span,
    lost: span.lost.map(
      ([firstSeq, count, startNs, durationNs, hostLost]) =>
        [firstSeq, count, at(startNs), durationNs, hostLost] as const,
    ),
    coarse: span.coarse.map(
      ([firstSeq, count, startNs, durationNs, hostLost, lost]) =>
        [firstSeq, count, at(startNs), durationNs, hostLost, lost] as const,
    ),
  })),
});
