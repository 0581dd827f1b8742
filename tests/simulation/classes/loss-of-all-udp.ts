import { countRanges } from "@dyetrace/measure";
import { drawLosses } from "../draw-losses.ts";
import { drawInteger, drawOne } from "../seeded-random.ts";
import { simulateRun } from "../simulate-run.ts";
import { faultAt, type SimulatedClass } from "./class-case.ts";
import { drawClassScene, listenersBehind, segmentsAmong } from "./class-scene.ts";

/** A bad cable loses unicast as well. What is said of multicast alone is then not true. */
export const lossOfAllUdp: SimulatedClass = {
  name: "loss-of-all-udp",
  about: "a segment loses unicast and multicast alike, little of both",
  variants: ["0.3 to 1.5 %"],
  draw: (_variant, random) => {
    const scene = drawClassScene(random, { packets: 10_000, packetsPerSecond: 1_000, mostNodes: 40 });
    const segment = drawOne(random, segmentsAmong(scene.places));
    const ratio = 0.003 + 0.012 * random();
    const sentPackets = drawInteger(random, 100, 1_000);
    const alone = simulateRun(scene.graph, scene.streams, [{ kind: "loss", segment, ratio }], random);
    const behind = new Set(
      scene.streams.flatMap((stream) =>
        listenersBehind(scene.graph, stream, segment).map((host) => `${stream.stream} ${host}`),
      ),
    );
    const run = {
      ...alone,
      listeners: alone.listeners.map((listener) => {
        const isBehind = behind.has(`${listener.stream} ${listener.host}`);
        const lost = isBehind ? countRanges(drawLosses(sentPackets, ratio, 1, random)) : 0;
        return { ...listener, companion: { sentPackets, receivedPackets: sentPackets - lost } };
      }),
    };
    const truth = { ...faultAt(segment), untrueWords: /the fault is multicast's/ };
    return { plan: scene.graph, world: scene.graph, run, truth };
  },
};
