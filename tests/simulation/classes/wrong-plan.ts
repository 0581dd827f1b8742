import type { SiteGraph } from "@dyetrace/site";
import { type RunObservations, STANDARD_TIMERS } from "../../../packages/locate/src/run/run-observations.ts";
import { indexSite } from "../../../packages/locate/src/site/site-index.ts";
import { nodesDownTo, sourceTree } from "../../../packages/locate/src/site/source-tree.ts";
import { randomSite } from "../random-site.ts";
import { drawInteger, drawOne, drawSome, type Random } from "../seeded-random.ts";
import { simulateRun } from "../simulate-run.ts";
import { NOTHING_WRONG, type SimulatedClass } from "./class-case.ts";
import { type ClassScene, sceneOn, segmentsAmong } from "./class-scene.ts";
import { type Cut, drawCut } from "./draw-cut.ts";
import { queriedHosts, queryTimes, withQueries } from "./observed-queries.ts";
import { withReportsHeard } from "./reports-heard.ts";
import { forwardingNeighbours, nodesBehind, relink, segmentsLike, swapHosts, withoutSwitch } from "./site-edits.ts";

/** A site as it is, and the plan that somebody made of it. */
interface PlanError {
  readonly world: SiteGraph;
  readonly plan: SiteGraph;
  /** Nodes that the plan has elsewhere, or does not have. */
  readonly misplaced: readonly string[];
  /** What the plan has in the stead of a place of the world that it lacks. */
  readonly standsFor?: (place: string) => readonly string[];
}

type DrawError = (site: SiteGraph, random: Random) => PlanError | null;

const hostsOf = (site: SiteGraph): string[] =>
  [...site.nodes.values()].filter(({ kind }) => kind === "host").map(({ name }) => name);

const swappedHosts: DrawError = (world, random) => {
  const [one = "", other = ""] = drawSome(random, hostsOf(world), 2);
  const [at] = forwardingNeighbours(world, one);
  // On the same switch only the numbers of their ports would differ.
  if (at === undefined || at === forwardingNeighbours(world, other)[0]) return null;
  return { world, plan: swapHosts(world, one, other), misplaced: [one, other] };
};

/** @param canTake where the host may sit, in the plan and in truth */
const movedHost =
  (canTake: (kind: string) => boolean): DrawError =>
  (plan, random) => {
    const takers = [...plan.nodes.values()].filter(({ kind }) => canTake(kind)).map(({ name }) => name);
    const hosts = hostsOf(plan).filter((host) => takers.includes(forwardingNeighbours(plan, host)[0] ?? ""));
    if (hosts.length === 0 || takers.length < 2) return null;
    const host = drawOne(random, hosts);
    const [from = ""] = forwardingNeighbours(plan, host);
    const to = drawOne(
      random,
      takers.filter((name) => name !== from),
    );
    return { plan, world: relink(plan, host, from, to), misplaced: [host] };
  };

const missingSwitch: DrawError = (world, random) => {
  const candidates = [...world.nodes.values()].flatMap(({ name, kind, isQuerier }) => {
    const above = forwardingNeighbours(world, name);
    const isBetween = kind === "switch" && !isQuerier && (world.outgoing.get(name) ?? []).length >= 2;
    return isBetween && above.length > 0 ? [{ name, above }] : [];
  });
  if (candidates.length === 0) return null;
  const { name, above: neighbours } = drawOne(random, candidates);
  const above = drawOne(random, neighbours);
  const plan = withoutSwitch(world, name, above);
  // In the plan `above` is both switches, and a cable of the missing one ends there: who follows it comes to the missing one.
  const cables = segmentsLike(world, plan, name);
  const standsFor = (place: string): readonly string[] => {
    if (place === name) return [above, ...cables];
    const ends = place.split(">").map((end) => end.split(":")[0]);
    return ends.includes(name) && ends.includes(above) ? [above] : [];
  };
  return { world, plan, misplaced: nodesBehind(world, name, above), standsFor };
};

/** A switch hangs by a link that the plan does not have; the one of the plan lies idle. */
const missingLink: DrawError = (plan, random) => {
  const inner = [...plan.nodes.values()].filter(({ kind }) => kind !== "host").map(({ name }) => name);
  const node = drawOne(random, inner);
  const neighbours = forwardingNeighbours(plan, node);
  if (neighbours.length === 0) return null;
  const from = drawOne(random, neighbours);
  const behind = nodesBehind(plan, node, from);
  const others = inner.filter((name) => name !== from && !behind.includes(name));
  if (others.length === 0) return null;
  return { plan, world: relink(plan, node, from, drawOne(random, others)), misplaced: behind };
};

const planClass = (name: string, about: string, drawError: DrawError): SimulatedClass => ({
  name,
  about,
  variants: ["healthy", "with a stop", "with loss"],
  draw: (variant, random) => {
    const error = drawError(randomSite(random, drawInteger(random, 8, 50)), random);
    const scene = error === null ? null : sceneOn(error.world, random, { packets: 2_000, bystanderShare: 0.2 });
    if (error === null || scene === null) return null;
    const { faults, places } = drawFault(variant, scene, random);
    const run = observed(scene, simulateRun(scene.graph, scene.streams, faults, random), random);
    const truth = {
      ...NOTHING_WRONG,
      places: [...places, ...places.flatMap((place) => error.standsFor?.(place) ?? [])],
      misplaced: error.misplaced,
      trueKinds: ["plan-mismatch"] as const,
    };
    return { plan: error.plan, world: error.world, run, truth };
  },
});

function drawFault(variant: string, { places }: ClassScene, random: Random): Cut {
  if (variant === "healthy") return { faults: [], places: [] };
  if (variant === "with a stop") return drawCut(places, [{ fromMs: 0 }], random);
  const segment = drawOne(random, segmentsAmong(places));
  return { faults: [{ kind: "loss", segment, ratio: 0.01 + 0.05 * random() }], places: [segment] };
}

/** Long enough that no router of these sites lets it run out. */
const TTL = 32;

/** What else agents know: how many routers packets passed, which queries and whose reports they hear. */
function observed(
  { graph, agents, streams, durationMs }: ClassScene,
  run: RunObservations,
  random: Random,
): RunObservations {
  const site = indexSite(graph);
  const ttlSeen = new Map<string, number>();
  for (const { stream, source, listeners } of streams) {
    const tree = sourceTree(site, site.nodeNumber.get(source) ?? -1);
    for (const host of listeners) {
      const way = nodesDownTo(tree, site.nodeNumber.get(host) ?? -1);
      ttlSeen.set(`${stream} ${host}`, TTL - way.filter((node) => site.nodes[node]?.kind === "router").length);
    }
  }
  const asked = queriedHosts(graph);
  const querying = {
    atMs: queryTimes(random, STANDARD_TIMERS.queryIntervalMs, 0, durationMs),
    timers: STANDARD_TIMERS,
    isHeard: (host: string) => asked.has(host),
    untilMs: durationMs,
  };
  const withTtl = {
    ...run,
    streams: run.streams.map((stream) => ({ ...stream, ttl: TTL })),
    listeners: run.listeners.map((listener) => ({
      ...listener,
      ttlSeen: listener.receivedPackets === 0 ? null : (ttlSeen.get(`${listener.stream} ${listener.host}`) ?? null),
    })),
  };
  return withReportsHeard(withQueries(withTtl, agents, querying, random), graph, agents);
}

export const wrongPlans: readonly SimulatedClass[] = [
  planClass("swapped-hosts", "the plan has two hosts on each other's ports", swappedHosts),
  planClass(
    "moved-host",
    "a host sits elsewhere than the plan has it",
    movedHost((kind) => kind !== "host" && kind !== "router"),
  ),
  planClass(
    "roamed-client",
    "a client has gone to another access point",
    movedHost((kind) => kind === "access-point"),
  ),
  planClass("missing-switch", "the plan lacks a switch", missingSwitch),
  planClass("missing-link", "part of the site hangs by a link that the plan lacks", missingLink),
];
