import type { QuerierHeard, RunObservations } from "../../../packages/locate/src/run/run-observations.ts";
import { drawInteger, drawOne, type Random } from "../seeded-random.ts";
import { simulateRun } from "../simulate-run.ts";
import { type ClassTruth, NOTHING_WRONG, type SimulatedClass } from "./class-case.ts";
import { drawClassScene } from "./class-scene.ts";

const TIMERS = { queryIntervalMs: 2_000, queryResponseMs: 500, robustness: 2, lastMemberMs: 500 };
const HISTORY_MS = 60_000;
const PLANNED = "192.0.2.10";

/**
 * A second querier begins to ask in mid-run. With a lower address it silences the one that was there (RFC 3376, section
 * 6.6.2; the addresses compare as numbers); one with a higher address falls silent itself after its first query. A standby
 * asks once the planned one has been gone for the other-querier-present interval (section 8.5).
 */
export const secondQuerier: SimulatedClass = {
  name: "second-querier",
  about: "another querier asks from mid-run on",
  variants: ["lower address, nowhere known", "lower address, on a host with an agent", "higher address", "standby"],
  draw: (variant, random) => {
    const scene = drawClassScene(random, { packets: 3_000, joinedFromMs: -1_000, mostNodes: 30 });
    if ([...scene.graph.nodes.values()].some(({ kind }) => kind === "router")) return null;
    const run = { ...simulateRun(scene.graph, scene.streams, [], random), timers: TIMERS };
    const untilMs = scene.durationMs;
    const beginsMs = drawInteger(random, 5_000, untilMs - 10_000);
    const sender = variant.includes("on a host") ? drawOne(random, scene.agents) : null;
    const heard = queriersOf(variant, beginsMs, untilMs, random);
    const seconds = heard.filter(({ address }) => address !== PLANNED);
    return {
      plan: scene.graph,
      world: scene.graph,
      run: withQueriers(run, scene.agents, untilMs, (host) =>
        host === sender ? heard.map((one) => (seconds.includes(one) ? { ...one, isOwn: true } : one)) : heard,
      ),
      truth: truthOf(variant, sender),
    };
  },
};

function truthOf(variant: string, sender: string | null): ClassTruth {
  if (!variant.startsWith("lower")) return NOTHING_WRONG;
  const places = sender === null ? [] : [sender];
  return { ...NOTHING_WRONG, places, trueKinds: ["wrong-querier"], kinds: ["wrong-querier"] };
}

function queriersOf(variant: string, beginsMs: number, untilMs: number, random: Random): QuerierHeard[] {
  const { queryIntervalMs, queryResponseMs, robustness } = TIMERS;
  const asking = (address: string, firstMs: number, endMs: number): QuerierHeard => {
    const queries = 1 + Math.max(0, Math.floor((endMs - firstMs) / queryIntervalMs));
    const lastMs = firstMs + (queries - 1) * queryIntervalMs;
    const says = { intervalMs: queryIntervalMs, maxResponseMs: queryResponseMs, robustness };
    return { address, family: 4, version: 3, queries, firstMs, lastMs, ...says };
  };
  const firstMs = -HISTORY_MS + random() * queryIntervalMs;
  if (variant === "higher address") {
    return [asking(PLANNED, firstMs, untilMs), asking("192.0.2.11", beginsMs, beginsMs)];
  }
  const planned = asking(PLANNED, firstMs, beginsMs);
  const standbyMs = planned.lastMs + robustness * queryIntervalMs + queryResponseMs / 2;
  return variant === "standby"
    ? [planned, asking("192.0.2.11", standbyMs, untilMs)]
    : [planned, asking("192.0.2.9", beginsMs, untilMs)];
}

const withQueriers = (
  run: RunObservations,
  agents: readonly string[],
  untilMs: number,
  heardBy: (host: string) => readonly QuerierHeard[],
): RunObservations => ({
  ...run,
  queriers: agents.map((host) => ({
    host,
    canHear: true,
    watchedFromMs: -HISTORY_MS,
    watchedToMs: untilMs,
    queriers: heardBy(host),
  })),
});
