import { planPlace } from "@dyetrace/site";
import { count } from "../finding/wording.ts";
import type { Disagreement } from "./disagreement.ts";
import { type DeviceWitness, hasCome } from "./suspect-weights.ts";

/**
 * A device that counted all the frames going out to a host which received none of them: between the two lies one cable, so that one
 * of both, or the cable, is it. @returns null where that is not what the device says
 */
export function countedWithoutReceipt(
  { path, counters, tables, sentFrames, lostFrames }: DeviceWitness,
  streams: readonly string[],
): Disagreement | null {
  const link = path.segments.length - 1;
  const segment = path.segments[link];
  const counter = counters.find((one) => one.link === link && one.side === "out");
  if (segment === undefined || counter === undefined || !hasCome(counter) || lostFrames < sentFrames) return null;
  const device = planPlace(segment.from.node);
  const listed = tables.find((one) => one.link === link);
  const table =
    listed === undefined ? "" : `, and its table ${listed.isListed ? "lists" : "does not list"} the port for the group`;
  return {
    ...{ device, distrusted: null, streams },
    title: `${device} counted frames going out to ${path.listener}, and ${path.listener} received none of the test's`,
    sentence: `${device} counted ${count(counter.frames, "multicast frame")} going out of port ${segment.from.port}, where ${count(sentFrames, "packet")} should have gone${table}; ${path.listener}, on that port by the plan, received none. Between the two lie the cable with its ports, and the host's own card.`,
  };
}
