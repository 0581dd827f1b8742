import { STANDARD_TIMERS } from "../../../packages/locate/src/run/run-observations.ts";
import { drawInteger, drawOne } from "../seeded-random.ts";
import { simulateRun } from "../simulate-run.ts";
import { faultAt, type SimulatedClass } from "./class-case.ts";
import { drawClassScene } from "./class-scene.ts";
import { withQueries } from "./observed-queries.ts";
import { outagesBetween } from "./outages-between.ts";

export const unheardFlaps: SimulatedClass = {
  name: "unheard-flaps",
  about: "outages of one place that come and go, in a run without a query",
  variants: ["about even", "uneven", "the last one lasts"],
  draw: (variant, random) => {
    const scene = drawClassScene(random, { packets: 1_200, packetsPerSecond: 40 });
    const place = drawOne(random, scene.places);
    const count = drawInteger(random, 2, 6);
    const everyMs = scene.durationMs / (count + 1.5);
    const jitter = variant === "about even" ? 0.05 : 0.4;
    const lastsMs = everyMs * (0.1 + 0.3 * random());
    const flaps = outagesBetween(place, { count, everyMs, jitter, lastsMs }, random);
    const lasting = { kind: "outage", place, fromMs: (count + 0.5) * everyMs } as const;
    const faults = variant === "the last one lasts" ? [...flaps, lasting] : flaps;
    const run = simulateRun(scene.graph, scene.streams, faults, random);
    const querying = { atMs: [], timers: STANDARD_TIMERS, isHeard: () => false, untilMs: scene.durationMs };
    return {
      plan: scene.graph,
      world: scene.graph,
      run: withQueries(run, scene.agents, querying, random),
      truth: { ...faultAt(place), kinds: ["loses", "stops", "group-specific"] },
    };
  },
};
