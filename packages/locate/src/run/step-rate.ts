import type { SendStep } from "./run-observations.ts";

/** A step of which the source sent so much less than planned was sent at another rate. Our choice, no source. */
const SHORT_SHARE = 0.05;
/** A step may end a packet or a burst early. Our choice, no source. */
const FEWEST_PACKETS = 10;

/** Packets by the step's rate and length; real, not whole. */
export const plannedPacketsOf = ({ startMs, endMs, rateBps, payloadBytes }: SendStep): number =>
  ((endMs - startMs) * rateBps) / (payloadBytes * 8e3);

export const packetsOf = ({ firstSeq, lastSeq }: SendStep): number => lastSeq - firstSeq + 1;

/** The source sent fewer packets in the step than its rate asks for. */
export function isShortStep(step: SendStep): boolean {
  const planned = plannedPacketsOf(step);
  return planned - packetsOf(step) >= Math.max(FEWEST_PACKETS, SHORT_SHARE * planned);
}

/** Payload bits per second at which the step was sent: as planned, or what its packets make where it fell short. */
export const sentRateBps = (step: SendStep): number =>
  isShortStep(step) ? (step.rateBps * packetsOf(step)) / plannedPacketsOf(step) : step.rateBps;
