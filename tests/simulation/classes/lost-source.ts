import { countRanges, intersectRanges, subtractRanges } from "@dyetrace/measure";
import type {
  ListenerObservation,
  RunObservations,
  SeqRange,
} from "../../../packages/locate/src/run/run-observations.ts";
import { drawOne } from "../seeded-random.ts";
import { simulateRun } from "../simulate-run.ts";
import { faultAt, type SimulatedClass } from "./class-case.ts";
import { drawClassScene } from "./class-scene.ts";

/**
 * The agent of a source is lost while the source goes on. What the controller then knows to have been sent is what the
 * source had told of and what any listener got; where the source never reported, it knows of no numbers.
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
  const lastOf = new Map<string, number>();
  const streams = run.streams.map((stream) => {
    if (!lost.has(stream.source)) return stream;
    const heard = Math.max(-1, ...run.listeners.filter((one) => one.stream === stream.stream).map(lastHeard));
    const last = lastTold === null ? null : Math.max(lastTold, heard);
    if (last !== null) lastOf.set(stream.stream, last);
    const steps = stream.steps.map((step) => {
      if (last === null || last >= step.lastSeq) return step;
      const lasted = ((last - step.firstSeq) * (step.endMs - step.startMs)) / (step.lastSeq - step.firstSeq);
      return { ...step, lastSeq: last, endMs: step.startMs + lasted };
    });
    const state = lastTold === null ? ({ sourceState: "unknown", firstSentMs: null } as const) : {};
    return { ...stream, ...state, steps, sentPackets: null, lastSentMs: null };
  });
  const ofLost = new Set(streams.filter(({ source }) => lost.has(source)).map(({ stream }) => stream));
  return {
    ...run,
    streams,
    listeners: run.listeners.map((one) =>
      ofLost.has(one.stream) ? upToLast(one, lastOf.get(one.stream) ?? null) : one,
    ),
  };
}

/** The last number that this listener got; -1 if it got none. */
const lastHeard = ({ window, lost }: ListenerObservation): number =>
  window === null ? -1 : (subtractRanges([window], lost).at(-1)?.[1] ?? -1);

/** @param last the last number that is known to have been sent; null where none is */
function upToLast(listener: ListenerObservation, last: number | null): ListenerObservation {
  if (listener.window === null) return listener;
  if (last === null) return { ...listener, window: null, lost: [] };
  const window: SeqRange = [listener.window[0], Math.min(listener.window[1], last)];
  const lost = intersectRanges(listener.lost, [window]);
  return { ...listener, window, lost, receivedPackets: window[1] - window[0] + 1 - countRanges(lost) };
}
