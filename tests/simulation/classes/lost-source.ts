import { countRanges, intersectRanges } from "@dyetrace/measure";
import type { ListenerObservation, RunObservations } from "../../../packages/locate/src/run/run-observations.ts";
import { drawOne } from "../seeded-random.ts";
import { simulateRun } from "../simulate-run.ts";
import { faultAt, type SimulatedClass } from "./class-case.ts";
import { drawClassScene } from "./class-scene.ts";

/**
 * The agent of a source is lost while the source goes on. What the controller then knows of a listener's numbers ends
 * with the last that it got; where the source never reported, it knows none.
 */
export const lostSource: SimulatedClass = {
  name: "lost-source",
  about: "the agent of a source is lost, and something stops",
  variants: ["in mid-run", "before its first report"],
  draw: (variant, random) => {
    const scene = drawClassScene(random);
    const place = drawOne(random, scene.places);
    const fromMs = random() < 0.5 ? 0 : scene.durationMs * (0.2 + 0.5 * random());
    const complete = simulateRun(scene.graph, scene.streams, [{ kind: "outage", place, fromMs }], random);
    const lost = new Set([drawOne(random, scene.streams).source]);
    const lastTold = Math.floor(1_000 * (0.3 + 0.5 * random()));
    const run = withoutSource(complete, lost, variant === "in mid-run" ? lastTold : null);
    return { plan: scene.graph, world: scene.graph, run, truth: faultAt(place) };
  },
};

/** @param lastTold last number that the source reported; null when it reported none */
function withoutSource(run: RunObservations, lost: ReadonlySet<string>, lastTold: number | null): RunObservations {
  const streams = run.streams.map((stream) => {
    if (!lost.has(stream.source)) return stream;
    const steps = lastTold === null ? stream.steps : stream.steps.map((step) => ({ ...step, lastSeq: lastTold }));
    const state = lastTold === null ? ({ sourceState: "unknown", firstSentMs: null } as const) : {};
    return { ...stream, ...state, steps, sentPackets: null, lastSentMs: null };
  });
  const ofLost = new Set(streams.filter(({ source }) => lost.has(source)).map(({ stream }) => stream));
  return {
    ...run,
    streams,
    listeners: run.listeners.map((listener) => (ofLost.has(listener.stream) ? upToLast(listener, lastTold) : listener)),
  };
}

function upToLast(listener: ListenerObservation, lastTold: number | null): ListenerObservation {
  if (lastTold === null || listener.window === null || listener.receivedPackets === 0) {
    return { ...listener, window: null, lost: [] };
  }
  const [first, end] = listener.window;
  const tail = listener.lost.at(-1);
  const last = tail !== undefined && tail[1] === end ? tail[0] - 1 : end;
  const lost = intersectRanges(listener.lost, [[first, last]]);
  return { ...listener, window: [first, last], lost, receivedPackets: last - first + 1 - countRanges(lost) };
}
