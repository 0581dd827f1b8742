import type { ListenerObservation, SeqRange } from "../../../packages/locate/src/run/run-observations.ts";
import { drawInteger, drawOne, drawSome, type Random } from "../seeded-random.ts";
import { simulateRun } from "../simulate-run.ts";
import { faultAt, type SimulatedClass } from "./class-case.ts";
import { drawClassScene } from "./class-scene.ts";
import { withHoles } from "./report-holes.ts";

const PACKETS = 1_000;

/**
 * Agents that were away for a while, or lost for good. What they measured before and after stands; of what was sent
 * meanwhile nobody can say whether it came.
 */
export const agentAway: SimulatedClass = {
  name: "agent-away",
  about: "agents were away for a while, and something stops",
  variants: ["in mid-run", "until the end", "all the time"],
  draw: (variant, random) => {
    const scene = drawClassScene(random, { packets: PACKETS });
    const place = drawOne(random, scene.places);
    const fromMs = random() < 0.5 ? 0 : scene.durationMs * (0.2 + 0.6 * random());
    const complete = simulateRun(scene.graph, scene.streams, [{ kind: "outage", place, fromMs }], random);
    const away = drawSome(random, scene.agents, drawInteger(random, 1, Math.ceil(scene.agents.length / 2)));
    const times = new Map(away.map((agent) => [agent, variant === "all the time" ? null : drawAway(variant, random)]));
    const listeners = complete.listeners.map((listener) => {
      const time = times.get(listener.host);
      return time === undefined ? listener : time === null ? silent(listener) : withHoles(listener, [time]);
    });
    return { plan: scene.graph, world: scene.graph, run: { ...complete, listeners }, truth: faultAt(place) };
  },
};

function drawAway(variant: string, random: Random): SeqRange {
  const from = drawInteger(random, PACKETS / 10, (8 * PACKETS) / 10);
  return [from, variant === "until the end" ? PACKETS - 1 : drawInteger(random, from, (9 * PACKETS) / 10)];
}

const silent = (listener: ListenerObservation): ListenerObservation => ({
  ...listener,
  state: "no-report",
  window: null,
  lost: [],
  receivedPackets: 0,
  hostLostPackets: null,
  lastArrivalMs: null,
});
