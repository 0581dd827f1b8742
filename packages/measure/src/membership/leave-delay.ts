/** What the watcher of one host knows of one leave. Times in ns after the run's start, all on this host's clock. */
export interface LeaveObservation {
  /** First own leave on the wire after it was asked for; null when none was seen. */
  readonly leaveNs: number | null;
  /** Last frame at the network card before the leave; null when there was none. */
  readonly frameBeforeNs: number | null;
  /** Last frame at the network card after the leave; null when none came. */
  readonly lastFrameNs: number | null;
  /** When the source stopped; null when it went on past `untilNs`. */
  readonly sourceStoppedNs: number | null;
  readonly packetIntervalNs: number;
  /** Until when frames were watched for. */
  readonly untilNs: number;
}

/**
 * `still-flowing`: frames came until the end of the watch or of the source: longer than this.
 * `not-flowing`: the stream did not reach this port at the leave, so there was nothing to end (RFC 3918 6.2: void).
 * `no-leave`: this host said nothing on the wire, as one that is still a member, or whose IGMPv2 report was not the last.
 */
export type LeaveDelay =
  | { readonly kind: "measured"; readonly delayNs: number; readonly resolutionNs: number }
  | { readonly kind: "still-flowing"; readonly atLeastNs: number }
  | { readonly kind: "not-flowing" }
  | { readonly kind: "no-leave" };

/** Silence of this many packet intervals, and of at least this time, is the end of forwarding rather than a loss. */
const QUIET_INTERVALS = 10;
const QUIET_LEAST_NS = 100e6;

/**
 * Group leave delay: from the leave on the wire to the last frame at the network card; the socket, being closed,
 * cannot tell. Uncertain by up to one packet interval. 0 when no frame followed the leave.
 * @see RFC 2432, section 3.4.2; RFC 3918, section 6.2
 */
export function leaveDelay(leave: LeaveObservation): LeaveDelay {
  if (leave.leaveNs === null) return { kind: "no-leave" };
  const quietNs = Math.max(QUIET_INTERVALS * leave.packetIntervalNs, QUIET_LEAST_NS);
  if (leave.frameBeforeNs === null || leave.leaveNs - leave.frameBeforeNs > quietNs) return { kind: "not-flowing" };
  const lastNs = leave.lastFrameNs ?? leave.leaveNs;
  const endNs = Math.min(leave.untilNs, leave.sourceStoppedNs ?? leave.untilNs);
  if (endNs - lastNs < quietNs) return { kind: "still-flowing", atLeastNs: Math.max(0, endNs - leave.leaveNs) };
  return { kind: "measured", delayNs: lastNs - leave.leaveNs, resolutionNs: leave.packetIntervalNs };
}
