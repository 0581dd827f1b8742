import { drawInteger, drawOne } from "../seeded-random.ts";
import { simulateRun } from "../simulate-run.ts";
import { faultAt, type SimulatedClass } from "./class-case.ts";
import { drawClassScene, segmentsAmong } from "./class-scene.ts";

const PACKETS_PER_SECOND = 1_000;

export const oneRatePolicer: SimulatedClass = {
  name: "one-rate-policer",
  about: "a policer drops packet by packet what exceeds a constant rate, in a run at one rate",
  variants: ["passes 40 to 95 %"],
  draw: (_variant, random) => {
    const scene = drawClassScene(random, { packets: 10_000, packetsPerSecond: PACKETS_PER_SECOND, mostNodes: 40 });
    const segment = drawOne(random, segmentsAmong(scene.places));
    const passedPerSecond = PACKETS_PER_SECOND * (0.4 + 0.55 * random());
    const depthPackets = drawInteger(random, 2, 12);
    const run = simulateRun(
      scene.graph,
      scene.streams,
      [{ kind: "policer", segment, passedPerSecond, depthPackets }],
      random,
    );
    return { plan: scene.graph, world: scene.graph, run, truth: { ...faultAt(segment), kinds: ["rate-limited"] } };
  },
};
