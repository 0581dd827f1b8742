import { drawInteger, drawOne, drawSome } from "../seeded-random.ts";
import { simulateRun } from "../simulate-run.ts";
import { faultAt, type SimulatedClass } from "./class-case.ts";
import { drawClassScene } from "./class-scene.ts";

/**
 * Agents whose connection was gone for a while. As long as the controller hands on nothing of what they measured before
 * and after, they stand here as it has them: without a report.
 */
export const agentAway: SimulatedClass = {
  name: "agent-away",
  about: "agents were away for a while, and something stops",
  variants: ["up to half of the agents"],
  draw: (_variant, random) => {
    const scene = drawClassScene(random);
    const place = drawOne(random, scene.places);
    const complete = simulateRun(scene.graph, scene.streams, [{ kind: "outage", place, fromMs: 0 }], random);
    const away = drawSome(random, scene.agents, drawInteger(random, 1, Math.ceil(scene.agents.length / 2)));
    const run = {
      ...complete,
      listeners: complete.listeners.map((listener) =>
        away.includes(listener.host)
          ? {
              ...listener,
              state: "no-report" as const,
              window: null,
              lost: [],
              receivedPackets: 0,
              hostLostPackets: null,
              lastArrivalMs: null,
            }
          : listener,
      ),
    };
    return { plan: scene.graph, world: scene.graph, run, truth: faultAt(place) };
  },
};
