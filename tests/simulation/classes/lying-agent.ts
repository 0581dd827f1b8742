import { countRanges } from "@dyetrace/measure";
import type {
  BystanderObservation,
  ListenerObservation,
  RunObservations,
  SeqRange,
} from "../../../packages/locate/src/run/run-observations.ts";
import { drawLosses } from "../draw-losses.ts";
import { drawOne, type Random } from "../seeded-random.ts";
import { simulateRun } from "../simulate-run.ts";
import type { SimulatedFault } from "../simulated-fault.ts";
import { faultAt, type SimulatedClass } from "./class-case.ts";
import { type ClassScene, drawClassScene, listenersBehind } from "./class-scene.ts";

type Lie = (listener: ListenerObservation, random: Random) => ListenerObservation;

const claimed = (listener: ListenerObservation, lost: readonly SeqRange[]): ListenerObservation => {
  const sent = listener.window === null ? 0 : countRanges([listener.window]);
  return { ...listener, lost, receivedPackets: sent - countRanges(lost) };
};

const LIES: Readonly<Record<string, Lie>> = {
  "says it got nothing": (listener) => ({
    ...claimed(listener, listener.window === null ? [] : [listener.window]),
    lastArrivalMs: null,
  }),
  "says it got everything": (listener) => ({
    ...claimed(listener, []),
    lastArrivalMs: 9_990,
  }),
  "makes up losses": (listener, random) =>
    claimed(listener, drawLosses(1_000, 0.02 + 0.3 * random(), random() < 0.5 ? 1 : 8, random)),
};

const PHANTOM = "sees what is not there";

/**
 * One agent says of all its streams what is not so; half of the time something is wrong elsewhere, too. Who says that all
 * came sits behind a place where all stops: else its word would be true.
 */
export const lyingAgent: SimulatedClass = {
  name: "lying-agent",
  about: "one agent's figures are not true",
  variants: [...Object.keys(LIES), PHANTOM],
  draw: (variant, random) => {
    const scene = drawClassScene(random, { bystanderShare: variant === PHANTOM ? 0.3 : 0 });
    const place = drawOne(random, scene.places);
    const mustFail = variant === "says it got everything";
    const isFailing = mustFail || random() < 0.5;
    const faults: SimulatedFault[] = isFailing ? [{ kind: "outage", place, fromMs: 0 }] : [];
    const honest = simulateRun(scene.graph, scene.streams, faults, random);
    const liars = mustFail
      ? scene.streams.flatMap((stream) => listenersBehind(scene.graph, stream, place))
      : liarsFor(variant, scene);
    if (liars.length === 0) return null;
    const liar = drawOne(random, liars);
    const run = withLie(honest, liar, variant, random);
    return { plan: scene.graph, world: scene.graph, run, truth: faultAt(liar, ...(isFailing ? [place] : [])) };
  },
};

const liarsFor = (variant: string, { streams }: ClassScene): string[] =>
  streams.flatMap(({ listeners, bystanders }) => (variant === PHANTOM ? (bystanders ?? []) : listeners));

function withLie(run: RunObservations, liar: string, variant: string, random: Random): RunObservations {
  const lie = LIES[variant];
  return {
    ...run,
    listeners: run.listeners.map((one) => (lie === undefined || one.host !== liar ? one : lie(one, random))),
    bystanders: run.bystanders.map((one) => (variant !== PHANTOM || one.host !== liar ? one : phantom(one))),
  };
}

const phantom = (bystander: BystanderObservation): BystanderObservation => ({
  ...bystander,
  frames: 1_000,
  ranges: [[0, 999]],
  firstMs: 0,
  lastMs: 9_990,
});
