import { countRanges } from "@dyetrace/measure";
import type { ListenerObservation } from "../../../packages/locate/src/run/run-observations.ts";
import { drawLosses } from "../draw-losses.ts";
import { drawInteger, drawOne, type Random } from "../seeded-random.ts";
import { simulateRun } from "../simulate-run.ts";
import { faultAt, NOTHING_WRONG, type SimulatedClass } from "./class-case.ts";
import { drawClassScene, listenersBehind, segmentsAmong } from "./class-scene.ts";

/** No number is missing and the first copies come in time: only the count of second copies tells. */
export const copies: SimulatedClass = {
  name: "copies",
  about: "behind one segment packets come twice, or a few somewhere by chance",
  variants: ["all of them", "2 to 60 %", "a few by chance"],
  draw: (variant, random) => {
    const scene = drawClassScene(random);
    const place = drawOne(random, segmentsAmong(scene.places));
    const once = simulateRun(scene.graph, scene.streams, [], random);
    const behind = new Set(
      scene.streams.flatMap((stream) =>
        listenersBehind(scene.graph, stream, place).map((host) => `${stream.stream} ${host}`),
      ),
    );
    const share = 0.02 + 0.58 * random();
    const copiesOf = (listener: ListenerObservation): number => {
      const isBehind = behind.has(`${listener.stream} ${listener.host}`);
      if (variant === "a few by chance") return drawInteger(random, 0, 2);
      if (!isBehind) return 0;
      return variant === "all of them" ? listener.receivedPackets : copiedAmong(listener, share, random);
    };
    const run = {
      ...once,
      listeners: once.listeners.map((listener) => ({ ...listener, duplicatePackets: copiesOf(listener) })),
    };
    const truth = variant === "a few by chance" ? NOTHING_WRONG : { ...faultAt(place), kinds: ["duplicates" as const] };
    return { plan: scene.graph, world: scene.graph, run, truth };
  },
};

const copiedAmong = ({ receivedPackets }: ListenerObservation, share: number, random: Random): number =>
  countRanges(drawLosses(receivedPackets, share, 1, random));
