import { countRanges, intersectRanges, mergeSequenceRanges } from "@dyetrace/measure";
import type { SeqRange } from "../../../packages/locate/src/run/run-observations.ts";
import { drawLosses } from "../draw-losses.ts";
import { drawInteger, drawSome, type Random } from "../seeded-random.ts";
import { simulateRun } from "../simulate-run.ts";
import { faultAt, type SimulatedClass } from "./class-case.ts";
import { drawClassScene } from "./class-scene.ts";

/**
 * Weak hosts drop packets when many come at once. All of them are hit at the same moments, each loses its own part of
 * what comes then, so their losses look as if they shared a way.
 */
export const hostDrops: SimulatedClass = {
  name: "host-drops",
  about: "weak hosts drop what the network had delivered",
  variants: ["counted", "unknown"],
  draw: (variant, random) => {
    const scene = drawClassScene(random, { packets: 5_000, packetsPerSecond: 500, mostNodes: 40, mostSources: 2 });
    const listening = [...new Set(scene.streams.flatMap(({ listeners }) => listeners))];
    const most = random() < 0.3 ? listening.length : Math.min(3, listening.length);
    const weak = drawSome(random, listening, drawInteger(random, 1, most));
    const quiet = simulateRun(scene.graph, scene.streams, [], random);
    const moments = drawLosses(5_000, 0.01 + 0.05 * random(), 20, random);
    const run = {
      ...quiet,
      listeners: quiet.listeners.map((listener) => {
        const hostLostPackets = variant === "counted" ? 0 : null;
        if (!weak.includes(listener.host)) return { ...listener, hostLostPackets };
        const lost = dropsAt(moments, 0.5 + 0.4 * random(), random);
        const packets = countRanges(lost);
        return {
          ...listener,
          lost,
          receivedPackets: listener.receivedPackets - packets,
          hostLostPackets: variant === "counted" ? packets : null,
        };
      }),
    };
    return { plan: scene.graph, world: scene.graph, run, truth: faultAt(...weak) };
  },
};

/** Of the numbers of busy moments, the share that one host drops. */
function dropsAt(moments: readonly SeqRange[], share: number, random: Random): SeqRange[] {
  const last = moments.at(-1)?.[1] ?? 0;
  return mergeSequenceRanges(intersectRanges(moments, drawLosses(last + 1, share, 4, random)));
}
