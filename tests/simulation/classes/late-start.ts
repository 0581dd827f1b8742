import { simulateRun } from "../simulate-run.ts";
import { faultAt, type SimulatedClass } from "./class-case.ts";
import { drawClassScene } from "./class-scene.ts";
import { drawCut } from "./draw-cut.ts";

/** Hosts join this long before the first packet in the scenarios that are shipped. */
const JOINED_FROM_MS = -1_000;

export const lateStart: SimulatedClass = {
  name: "late-start",
  about: "a link or node that lets nothing through at first and heals in mid-run",
  variants: ["joined 1 s before", "joined 3 s before"],
  draw: (variant, random) => {
    const joinedFromMs = variant === "joined 1 s before" ? JOINED_FROM_MS : 3 * JOINED_FROM_MS;
    const scene = drawClassScene(random, { joinedFromMs });
    const healedMs = scene.durationMs * (0.1 + 0.6 * random());
    const cut = drawCut(scene.places, [{ fromMs: 0, toMs: healedMs }], random);
    const run = simulateRun(scene.graph, scene.streams, cut.faults, random);
    return { plan: scene.graph, world: scene.graph, run, truth: faultAt(...cut.places) };
  },
};
