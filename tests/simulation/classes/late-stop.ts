import { simulateRun } from "../simulate-run.ts";
import { faultAt, type SimulatedClass } from "./class-case.ts";
import { drawClassScene } from "./class-scene.ts";
import { drawCut } from "./draw-cut.ts";

export const lateStop: SimulatedClass = {
  name: "late-stop",
  about: "a stop in the last fifth of a run",
  variants: ["1 to 20 % before the end"],
  draw: (_variant, random) => {
    const scene = drawClassScene(random);
    const fromMs = scene.durationMs * (0.8 + 0.19 * random());
    const { faults, places } = drawCut(scene.places, [{ fromMs }], random);
    const run = simulateRun(scene.graph, scene.streams, faults, random);
    return {
      plan: scene.graph,
      world: scene.graph,
      run,
      truth: { ...faultAt(...places), kinds: ["stops", "group-specific"] },
    };
  },
};
