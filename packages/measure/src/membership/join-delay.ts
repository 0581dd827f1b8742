/** What one listener knows of one join. Times in ns after the run's start, all on this host's clock. */
export interface JoinObservation {
  /** Just before the join was asked of the kernel. */
  readonly requestedNs: number;
  /** First own report on the wire after that; null when none was seen. */
  readonly reportNs: number | null;
  /** False without a watcher: then `reportNs` being null says nothing. */
  readonly canSeeReports: boolean;
  /** First frame of the stream at the network card after the request, or packet at the socket; null while none came. */
  readonly firstFrameNs: number | null;
  /** Last frame of the stream at the network card before the request; null when none was seen or nobody watched. */
  readonly frameBeforeNs: number | null;
  /** When the source began to send, as far as known. */
  readonly sendingSinceNs: number | null;
  readonly packetIntervalNs: number;
  /** Until when we waited. */
  readonly untilNs: number;
}

/**
 * `measured`: `since` says where the delay begins; after a `request` it holds the host's own wait before its report.
 * `already-flowing`: the stream reached this port before the report, so this join opened nothing.
 * `source-late`: the source was not sending yet, or was not to when the join was planned. `no-report`: this host sent none, as one that was a member already.
 */
export type JoinDelay =
  | {
      readonly kind: "measured";
      readonly delayNs: number;
      readonly resolutionNs: number;
      readonly since: "report" | "request";
    }
  | { readonly kind: "already-flowing" }
  | { readonly kind: "source-late" }
  | { readonly kind: "no-report" }
  | { readonly kind: "no-packet"; readonly waitedNs: number };

/** Frames that came this many packet intervals before the join still count as the stream flowing here. */
const FLOWING_INTERVALS = 10;
/** Least time for the same, ns: a burst or a late scheduler must not pass for a stream that had ended. */
const FLOWING_LEAST_NS = 100e6;

/**
 * Group join delay: from the end of the report to the first frame of the group. Uncertain by up to one packet
 * interval, since forwarding begins somewhere between two packets.
 * @see RFC 2432, section 3.4.1; RFC 3918, section 6.1
 */
export function joinDelay(join: JoinObservation): JoinDelay {
  const startNs = join.reportNs ?? join.requestedNs;
  const flowingNs = Math.max(FLOWING_INTERVALS * join.packetIntervalNs, FLOWING_LEAST_NS);
  if (join.frameBeforeNs !== null && join.requestedNs - join.frameBeforeNs < flowingNs) {
    return { kind: "already-flowing" };
  }
  if (join.firstFrameNs !== null && join.reportNs !== null && join.firstFrameNs < join.reportNs) {
    return { kind: "already-flowing" };
  }
  if (join.canSeeReports && join.reportNs === null) return { kind: "no-report" };
  if (join.sendingSinceNs !== null && join.sendingSinceNs > startNs) return { kind: "source-late" };
  if (join.firstFrameNs === null) return { kind: "no-packet", waitedNs: join.untilNs - startNs };
  return {
    kind: "measured",
    delayNs: join.firstFrameNs - startNs,
    resolutionNs: join.packetIntervalNs,
    since: join.reportNs === null ? "request" : "report",
  };
}
