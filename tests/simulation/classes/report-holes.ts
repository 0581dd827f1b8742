import { countRanges, mergeSequenceRanges } from "@dyetrace/measure";
import type { ListenerObservation, SeqRange } from "../../../packages/locate/src/run/run-observations.ts";
import { drawInteger, drawOne, drawSome, type Random } from "../seeded-random.ts";
import { simulateRun } from "../simulate-run.ts";
import type { SimulatedFault } from "../simulated-fault.ts";
import { faultAt, NOTHING_WRONG, type SimulatedClass } from "./class-case.ts";
import { drawClassScene } from "./class-scene.ts";

/** Agents report each second. */
const REPORT_MS = 1_000;
const PACKETS_PER_SECOND = 100;
const REPORTS = 20;

/** An agent's report covers all that it listens to, so all of its streams have the hole. */
export const reportHoles: SimulatedClass = {
  name: "report-holes",
  about: "some agents' reports of single seconds never arrive",
  variants: ["healthy", "with a stop"],
  draw: (variant, random) => {
    const packets = (REPORTS * REPORT_MS * PACKETS_PER_SECOND) / 1000;
    const scene = drawClassScene(random, { packets, packetsPerSecond: PACKETS_PER_SECOND });
    const place = drawOne(random, scene.places);
    const faults: SimulatedFault[] = variant === "healthy" ? [] : [{ kind: "outage", place, fromMs: 0 }];
    const complete = simulateRun(scene.graph, scene.streams, faults, random);
    const agents = drawSome(random, scene.agents, drawInteger(random, 1, Math.ceil(scene.agents.length / 3)));
    const holes = new Map(agents.map((agent) => [agent, drawHoles(random)]));
    const run = {
      ...complete,
      listeners: complete.listeners.map((listener) => withHoles(listener, holes.get(listener.host) ?? [])),
    };
    const truth = variant === "healthy" ? NOTHING_WRONG : faultAt(place);
    return { plan: scene.graph, world: scene.graph, run, truth };
  },
};

/** Seconds in mid-run: without its last report an agent counts as lost. */
function drawHoles(random: Random): SeqRange[] {
  const perReport = (REPORT_MS * PACKETS_PER_SECOND) / 1000;
  const seconds = drawSome(random, [...Array(REPORTS - 2).keys()], drawInteger(random, 1, 3));
  return mergeSequenceRanges(seconds.map((s) => [(s + 1) * perReport, (s + 2) * perReport - 1]));
}

/** The controller takes numbers that no report names for missing. */
export function withHoles(listener: ListenerObservation, holes: readonly SeqRange[]): ListenerObservation {
  if (holes.length === 0 || listener.window === null) return listener;
  const lost = mergeSequenceRanges([...listener.lost, ...holes]);
  const receivedPackets = countRanges([listener.window]) - countRanges(lost);
  return { ...listener, lost, receivedPackets, unknown: holes };
}
