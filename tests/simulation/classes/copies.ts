import { drawOne } from "../seeded-random.ts";
import { simulateRun } from "../simulate-run.ts";
import { faultAt, type SimulatedClass } from "./class-case.ts";
import { drawClassScene, listenersBehind, segmentsAmong } from "./class-scene.ts";

/** No number is missing and the first copies come in time: only the count of second copies tells. */
export const copies: SimulatedClass = {
  name: "copies",
  about: "behind one segment every packet comes twice",
  variants: ["all of them"],
  draw: (_variant, random) => {
    const scene = drawClassScene(random);
    const place = drawOne(random, segmentsAmong(scene.places));
    const once = simulateRun(scene.graph, scene.streams, [], random);
    const behind = new Set(
      scene.streams.flatMap((stream) =>
        listenersBehind(scene.graph, stream, place).map((host) => `${stream.stream} ${host}`),
      ),
    );
    const run = {
      ...once,
      listeners: once.listeners.map((listener) => ({
        ...listener,
        duplicatePackets: behind.has(`${listener.stream} ${listener.host}`) ? listener.receivedPackets : 0,
      })),
    };
    return { plan: scene.graph, world: scene.graph, run, truth: faultAt(place) };
  },
};
