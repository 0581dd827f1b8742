/** What a flow was found to be. Of "other" nothing but rate and silence can be known. */
export type FlowKind = "test" | "rtp" | "rtp-with-ts" | "ts" | "other";

/** One flow in one stretch of time. Unknown is null, never 0. */
export interface FlowReport {
  readonly kind: FlowKind;
  /** `run 0123456789abcdef stream 1`, `SSRC 3735928559`, or nothing. */
  readonly name: string;
  readonly source: string | null;
  readonly packets: number;
  readonly bytes: number;
  /** Packets (for "ts": transport stream packets) that are missing, the host's own drops included. */
  readonly lost: number | null;
  /** False where the numbers are too short to be sure: then `lost` is a lower bound. */
  readonly isLostExact: boolean;
  /** Part of `lost` that this host dropped itself. */
  readonly hostLost: number | null;
  readonly duplicates: number | null;
  readonly reordered: number | null;
  readonly longestGapNs: number | null;
  readonly jitterNs: number | null;
  readonly longestSilenceNs: number | null;
  readonly ttlMin: number | null;
  readonly ttlMax: number | null;
  readonly dscps: readonly number[];
  /** Another sender of the same stream, interleaved. */
  readonly otherSenderPackets: number | null;
  readonly senderRestarts: number | null;
}

/** Two stretches of one flow as one, `b` the later. */
export function joinFlowReports(a: FlowReport, b: FlowReport): FlowReport {
  // Before it is known what a flow is there are no numbers to count by; counting begins then.
  const add = a.kind === b.kind ? sumKnown : (_: number | null, later: number | null): number | null => later;
  return {
    kind: b.kind,
    name: b.name,
    source: b.source ?? a.source,
    packets: a.packets + b.packets,
    bytes: a.bytes + b.bytes,
    lost: add(a.lost, b.lost),
    isLostExact: b.isLostExact,
    hostLost: add(a.hostLost, b.hostLost),
    duplicates: add(a.duplicates, b.duplicates),
    reordered: add(a.reordered, b.reordered),
    longestGapNs: most(a.longestGapNs, b.longestGapNs),
    jitterNs: b.jitterNs ?? a.jitterNs,
    longestSilenceNs: most(a.longestSilenceNs, b.longestSilenceNs),
    ttlMin: a.ttlMin === null || b.ttlMin === null ? (a.ttlMin ?? b.ttlMin) : Math.min(a.ttlMin, b.ttlMin),
    ttlMax: most(a.ttlMax, b.ttlMax),
    dscps: [...new Set([...a.dscps, ...b.dscps])].sort((x, y) => x - y),
    otherSenderPackets: add(a.otherSenderPackets, b.otherSenderPackets),
    senderRestarts: add(a.senderRestarts, b.senderRestarts),
  };
}

/** What could not be known for a part is not known for the whole. */
const sumKnown = (a: number | null, b: number | null): number | null => (a === null || b === null ? null : a + b);
const most = (a: number | null, b: number | null): number | null =>
  a === null || b === null ? (a ?? b) : Math.max(a, b);
