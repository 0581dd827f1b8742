import type { Random } from "../seeded-random.ts";
import type { SimulatedFault } from "../simulated-fault.ts";

export interface OutageSpacing {
  readonly count: number;
  /** From the start of one to the start of the next, on average. */
  readonly everyMs: number;
  /** Share of `everyMs` by which a start may be early or late; under 0.5. */
  readonly jitter: number;
  readonly lastsMs: number;
}

/** Outages of one place one after the other, the first one interval after the run's start. */
export function outagesBetween(place: string, spacing: OutageSpacing, random: Random): SimulatedFault[] {
  const { count, everyMs, jitter, lastsMs } = spacing;
  return Array.from({ length: count }, (_, i): SimulatedFault => {
    const fromMs = (i + 1 + jitter * (2 * random() - 1)) * everyMs;
    return { kind: "outage", place, fromMs, toMs: fromMs + lastsMs * (0.7 + 0.6 * random()) };
  });
}
