import { STANDARD_TIMERS } from "../../../packages/locate/src/run/run-observations.ts";
import { simulateRun } from "../simulate-run.ts";
import { faultAt, type SimulatedClass } from "./class-case.ts";
import { drawClassScene, listenersBehind } from "./class-scene.ts";
import { drawCut } from "./draw-cut.ts";
import { queriedHosts, queryTimes, withQueries } from "./observed-queries.ts";

/** Shorter than a query interval by far, so that most runs hear no query though a querier is there. */
const SHORT = { packets: 1_200, packetsPerSecond: 20 };
/** Three query intervals: queries are heard, and after the cut not by those behind it. */
const LONG = { packets: 4_000, packetsPerSecond: 10 };

/** A cut takes queries along with the data, so whom they reach across it stops hearing them. */
export const unheardCut: SimulatedClass = {
  name: "unheard-cut",
  about: "a cut in mid-run, of which no or few queries tell",
  variants: ["no query in the run", "queries every 125 s"],
  draw: (variant, random) => {
    const isShort = variant === "no query in the run";
    const scene = drawClassScene(random, isShort ? SHORT : LONG);
    const cutMs = scene.durationMs * (0.2 + 0.5 * random());
    const { faults, places } = drawCut(scene.places, [{ fromMs: cutMs }], random);
    const run = simulateRun(scene.graph, scene.streams, faults, random);
    const asked = queriedHosts(scene.graph);
    // In a layer-2 domain without a querier there is truly none.
    if (!scene.agents.every((agent) => asked.has(agent))) return null;
    const querier = [...scene.graph.nodes.values()].find(({ isQuerier }) => isQuerier)?.name ?? "";
    const asking = { source: querier, listeners: scene.agents };
    const behind = new Set(
      places.flatMap((place) => (place === querier ? scene.agents : listenersBehind(scene.graph, asking, place))),
    );
    const querying = {
      atMs: isShort ? [] : queryTimes(random, STANDARD_TIMERS.queryIntervalMs, 0, scene.durationMs),
      timers: STANDARD_TIMERS,
      isHeard: (host: string, atMs: number) => asked.has(host) && (atMs < cutMs || !behind.has(host)),
      untilMs: scene.durationMs,
    };
    return {
      plan: scene.graph,
      world: scene.graph,
      run: withQueries(run, scene.agents, querying, random),
      truth: faultAt(...places),
    };
  },
};
