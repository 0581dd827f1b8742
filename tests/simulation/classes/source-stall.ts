import type { RunObservations, StreamObservation } from "../../../packages/locate/src/run/run-observations.ts";
import { drawOne, type Random } from "../seeded-random.ts";
import { simulateRun } from "../simulate-run.ts";
import type { SimulatedStream } from "../simulated-fault.ts";
import { type ClassCase, faultAt, type SimulatedClass } from "./class-case.ts";
import { type ClassScene, drawClassScene } from "./class-scene.ts";
import { drawCut } from "./draw-cut.ts";

const PACKETS = 2_000;
const PACKETS_PER_SECOND = 100;
const DURATION_MS = (PACKETS * 1000) / PACKETS_PER_SECOND;

/**
 * A source pauses and goes on with the next number: nothing is missing, yet numbers and planned times do not fit together
 * any more. It sends as long as planned, so it sends fewer packets.
 */
export const sourceStall: SimulatedClass = {
  name: "source-stall",
  about: "a source pauses, then something stops; or it begins late and says nothing of it",
  variants: ["stall, then a stop", "late and unsaid"],
  draw: (variant, random) => {
    const scene = drawClassScene(random, {
      packets: PACKETS,
      packetsPerSecond: PACKETS_PER_SECOND,
      leastSources: 2,
      mostSources: 4,
      isOneGroup: random() < 0.5,
    });
    return variant === "late and unsaid" ? lateAndUnsaid(scene, random) : stallThenStop(scene, random);
  },
};

function stallThenStop({ graph, streams, places }: ClassScene, random: Random): ClassCase {
  const stalled = drawOne(random, streams);
  const [startMs, pauseMs] = [DURATION_MS * (0.1 + 0.2 * random()), 1_000 + 4_000 * random()];
  const stopMs = DURATION_MS * (0.6 + 0.15 * random());
  const cut = drawCut(places, [{ fromMs: stopMs }], random);
  const runs = streams.map((stream) => {
    if (stream !== stalled) return simulateRun(graph, [stream], cut.faults, random);
    // Its numbers lag behind the clock by the pause.
    const faults = cut.places.map((place) => ({ kind: "outage", place, fromMs: stopMs - pauseMs }) as const);
    return paused(simulateRun(graph, [fewer(stream, pauseMs)], faults, random), startMs, pauseMs);
  });
  return {
    plan: graph,
    world: graph,
    run: together(runs),
    truth: { ...faultAt(...cut.places, stalled.source), kinds: ["stops"] },
  };
}

function lateAndUnsaid({ graph, streams }: ClassScene, random: Random): ClassCase {
  const late = drawOne(random, streams);
  const pauseMs = 500 + 3_000 * random();
  const runs = streams.map((stream) => {
    if (stream !== late) return simulateRun(graph, [stream], [], random);
    const run = paused(simulateRun(graph, [fewer(stream, pauseMs)], [], random), 0, pauseMs);
    const unsaid = (one: StreamObservation): StreamObservation => ({ ...one, sourceState: "sending", stalls: [] });
    return {
      ...run,
      streams: run.streams.map((one) => ({ ...unsaid(one), firstSentMs: pauseMs })),
      listeners: run.listeners.map((listener) => ({ ...listener, silences: [] })),
    };
  });
  return { plan: graph, world: graph, run: together(runs), truth: faultAt(late.source) };
}

const fewer = (stream: SimulatedStream, pauseMs: number): SimulatedStream => ({
  ...stream,
  packets: stream.packets - Math.round((pauseMs * PACKETS_PER_SECOND) / 1000),
});

/** Step and last packet end when they were planned to; in between the source logged a stall. */
function paused(run: RunObservations, startMs: number, pauseMs: number): RunObservations {
  const pause = { startMs, endMs: startMs + pauseMs };
  return {
    ...run,
    streams: run.streams.map((stream) => ({
      ...stream,
      sourceState: "stalled",
      steps: stream.steps.map((step) => ({ ...step, endMs: DURATION_MS })),
      lastSentMs: DURATION_MS,
      stalls: [pause],
    })),
    listeners: run.listeners.map((listener) => ({
      ...listener,
      silences: listener.receivedPackets === 0 ? [] : [{ ...pause, missingPackets: 0 }],
    })),
  };
}

/** Runs of single streams as one run. */
function together(runs: readonly RunObservations[]): RunObservations {
  const [first] = runs;
  if (first === undefined) throw new RangeError("No run to put together");
  return {
    ...first,
    streams: runs.flatMap(({ streams }) => streams),
    listeners: runs.flatMap(({ listeners }) => listeners),
    bystanders: runs.flatMap(({ bystanders }) => bystanders),
  };
}
