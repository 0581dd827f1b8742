import { drawOne, type Random } from "../seeded-random.ts";
import type { SimulatedFault } from "../simulated-fault.ts";

/** Something that lets no data through for a time. */
export interface Cut {
  readonly faults: readonly SimulatedFault[];
  /** What is at fault: both directions of a cable. */
  readonly places: readonly string[];
}

export interface CutSpan {
  readonly fromMs: number;
  /** Absent: to the end. */
  readonly toMs?: number;
}

/** A node, one direction of a link, or a cable. */
export function drawCut(candidates: readonly string[], spans: readonly CutSpan[], random: Random): Cut {
  const place = drawOne(random, candidates);
  const [from, to] = place.split(">");
  const isCable = to !== undefined && random() < 0.5;
  const places = isCable ? [place, `${to}>${from}`] : [place];
  return { places, faults: places.flatMap((one) => spans.map((span) => ({ kind: "outage", place: one, ...span }))) };
}
