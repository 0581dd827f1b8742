import type { RunObservations } from "../../../packages/locate/src/run/run-observations.ts";
import { simulateRun } from "../simulate-run.ts";
import { faultAt, type SimulatedClass } from "./class-case.ts";
import { drawClassScene } from "./class-scene.ts";
import { drawCut } from "./draw-cut.ts";

const OFFSETS_MS: Readonly<Record<string, number>> = {
  "up to 30 ms": 30,
  "up to 0.2 s": 200,
  "up to 1 s": 1_000,
  "up to 3 s": 3_000,
};

/** A stop in mid-run, told by hosts whose clocks are off by up to a known amount, each its own. */
export const clockOffsets: SimulatedClass = {
  name: "clock-offsets",
  about: "hosts' clocks are off, by as much as is known, while something stops in mid-run",
  variants: Object.keys(OFFSETS_MS),
  draw: (variant, random) => {
    const scene = drawClassScene(random, {
      leastSources: 2,
      mostSources: 6,
      mostNodes: 40,
      isOneGroup: random() < 0.5,
    });
    const cutMs = scene.durationMs * (0.3 + 0.4 * random());
    const { faults, places } = drawCut(scene.places, [{ fromMs: cutMs }], random);
    const run = simulateRun(scene.graph, scene.streams, faults, random);
    const mostMs = OFFSETS_MS[variant] ?? 0;
    const offsetMs = new Map(scene.agents.map((agent) => [agent, mostMs * (2 * random() - 1)]));
    return {
      plan: scene.graph,
      world: scene.graph,
      run: withOffsets(run, (host) => offsetMs.get(host) ?? 0, mostMs),
      truth: { ...faultAt(...places), kinds: ["stops"] },
    };
  },
};

/** The same run, with every instant as its host's clock has it. */
function withOffsets(run: RunObservations, offsetMs: (host: string) => number, uncertaintyMs: number): RunObservations {
  const later = (atMs: number | null, host: string): number | null => (atMs === null ? null : atMs + offsetMs(host));
  const hosts = new Set([...run.streams.map(({ source }) => source), ...run.listeners.map(({ host }) => host)]);
  return {
    ...run,
    streams: run.streams.map((stream) => ({
      ...stream,
      steps: stream.steps.map((step) => ({
        ...step,
        startMs: step.startMs + offsetMs(stream.source),
        endMs: step.endMs + offsetMs(stream.source),
      })),
      firstSentMs: later(stream.firstSentMs, stream.source),
      lastSentMs: later(stream.lastSentMs, stream.source),
    })),
    listeners: run.listeners.map((listener) => ({
      ...listener,
      joinedFromMs: listener.joinedFromMs + offsetMs(listener.host),
      lastArrivalMs: later(listener.lastArrivalMs, listener.host),
    })),
    clocks: [...hosts].map((host) => ({ host, uncertaintyMs })),
  };
}
