import { drawInteger } from "../seeded-random.ts";
import { simulateRun } from "../simulate-run.ts";
import { NOTHING_WRONG, type SimulatedClass } from "./class-case.ts";
import { drawClassScene } from "./class-scene.ts";

/** A group that no switch knows yet is flooded by most (RFC 4541, section 2.1.2, rule 3): the first packets go everywhere. */
export const unregisteredFlood: SimulatedClass = {
  name: "unregistered-flood",
  about: "the first 0.2 s are flooded, until joins have taken effect; nothing is wrong",
  variants: ["joined before", "joined as it begins"],
  draw: (variant, random) => {
    const joinedFromMs = variant === "joined before" ? -1_000 - 1_000 * random() : 150 * random();
    const scene = drawClassScene(random, { bystanderShare: 0.5, joinedFromMs });
    const quiet = simulateRun(scene.graph, scene.streams, [], random);
    const last = drawInteger(random, 2, 20);
    const run = {
      ...quiet,
      bystanders: quiet.bystanders.map((bystander) =>
        bystander.frames > 0
          ? bystander
          : { ...bystander, frames: last + 1, ranges: [[0, last] as const], firstMs: 0, lastMs: last * 10 },
      ),
    };
    return { plan: scene.graph, world: scene.graph, run, truth: NOTHING_WRONG };
  },
};
