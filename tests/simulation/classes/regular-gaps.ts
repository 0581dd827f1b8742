import type { MembershipTimers } from "../../../packages/locate/src/run/run-observations.ts";
import { drawInteger, drawOne } from "../seeded-random.ts";
import { simulateRun } from "../simulate-run.ts";
import { faultAt, type SimulatedClass } from "./class-case.ts";
import { drawClassScene } from "./class-scene.ts";
import { queriedHosts, queryTimes, withQueries } from "./observed-queries.ts";
import { outagesBetween } from "./outages-between.ts";

const TIMERS: MembershipTimers = {
  queryIntervalMs: 10_000,
  queryResponseMs: 1_000,
  robustness: 2,
  lastMemberMs: 2_000,
};

export const regularGaps: SimulatedClass = {
  name: "regular-gaps",
  about: "short gaps at even spacing, while queries are heard and answered",
  variants: ["gaps of 0.15 to 1 s"],
  draw: (_variant, random) => {
    const scene = drawClassScene(random, { packets: 3_000, packetsPerSecond: 100 });
    const place = drawOne(random, scene.places);
    const count = drawInteger(random, 3, 12);
    const everyMs = scene.durationMs / (count + 1.5);
    const lastsMs = 200 + 600 * random();
    const faults = outagesBetween(place, { count, everyMs, jitter: 0.02, lastsMs }, random);
    const run = simulateRun(scene.graph, scene.streams, faults, random);
    const asked = queriedHosts(scene.graph);
    const querying = {
      atMs: queryTimes(random, TIMERS.queryIntervalMs, -TIMERS.queryIntervalMs, scene.durationMs),
      timers: TIMERS,
      isHeard: (host: string) => asked.has(host),
      untilMs: scene.durationMs,
    };
    return {
      plan: scene.graph,
      world: scene.graph,
      run: withQueries(run, scene.agents, querying, random),
      truth: { ...faultAt(place), kinds: ["loses"] },
    };
  },
};
