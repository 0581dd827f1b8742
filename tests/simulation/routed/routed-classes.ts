import { buildSiteGraph, planPlace, type SiteGraph } from "@dyetrace/site";
import { type ClassCase, type ClassTruth, faultAt, NOTHING_WRONG, type SimulatedClass } from "../classes/class-case.ts";
import { drawInteger, drawOne, type Random } from "../seeded-random.ts";
import { drawRoutedSite } from "./draw-routed-site.ts";
import { areWorthARun, drawFaultySeq, drawStreams, observeRouted, type RoutedStream } from "./routed-scene.ts";
import { type RoutedFaults, RoutedWorld, type RoutingMode } from "./routed-world.ts";

interface Scene {
  readonly graph: SiteGraph;
  readonly world: RoutedWorld;
  readonly streams: readonly RoutedStream[];
}

const MODES: readonly RoutingMode[] = ["static", "pim"];

function drawScene(mode: RoutingMode, random: Random): Scene | null {
  const graph = drawRoutedSite(random);
  const world = new RoutedWorld(graph, mode, random);
  const streams = drawStreams(graph, random);
  return areWorthARun(world, streams) ? { graph, world, streams } : null;
}

/** The scene with a fault in it; null where nobody misses anything by it. */
function faulty(
  { graph, world, streams }: Scene,
  faults: RoutedFaults,
  truth: ClassTruth,
  random: Random,
  fromSeq = 0,
): ClassCase | null {
  const membersOf = (group: string): string[] =>
    streams.filter((one) => one.group === group).flatMap(({ listeners }) => listeners);
  const isMissed = streams.some(({ source, group, listeners }) => {
    const [sound, bad] = [world.deliver(source, membersOf(group)), world.deliver(source, membersOf(group), faults)];
    return listeners.some((host) => sound.hops.has(host) && !bad.hops.has(host));
  });
  if (!isMissed) return null;
  return { plan: graph, world: graph, run: observeRouted(world, streams, faults, random, fromSeq), truth };
}

/** A listener behind a router, and whose packets it does not get any more when something happens there. */
function drawPairBehindRouter({ world, streams }: Scene, random: Random): { source: string; host: string } | null {
  const pairs = streams.flatMap(({ source, listeners }) =>
    listeners.flatMap((host) => (world.homeOf(host) === world.homeOf(source) ? [] : [{ source, host }])),
  );
  return pairs.length === 0 ? null : drawOne(random, pairs);
}

const bothNames = (id: string): string[] => [...new Set([id, planPlace(id)])];

/** A router that answers for the members of a VLAN hears no report there; data and queries come through. */
export const deafRouter: SimulatedClass = {
  name: "deaf-router",
  about: "a router hears no membership reports on one interface",
  variants: MODES,
  draw: (variant, random) => {
    const scene = drawScene(variant as RoutingMode, random);
    const pair = scene === null ? null : drawPairBehindRouter(scene, random);
    if (scene === null || pair === null) return null;
    const { world } = scene;
    const domain = world.homeOf(pair.host);
    const router = world.answeringRouter(domain, pair.source) ?? "";
    const into = world.wayInDomain(pair.host, router, domain).at(-1);
    if (into === undefined) return null;
    return faulty(scene, { reportless: new Set([into.id]) }, faultAt(router, ...bothNames(into.id)), random);
  },
};

/** A router's route to one source leads out of another interface than its packets come in by. */
export const reversePath: SimulatedClass = {
  name: "reverse-path",
  about: "a router's route to one source leads out of a wrong interface",
  variants: MODES,
  draw: (variant, random) => {
    const scene = drawScene(variant as RoutingMode, random);
    const pair = scene === null ? null : drawPairBehindRouter(scene, random);
    if (scene === null || pair === null) return null;
    const { world } = scene;
    const { crossed } = world.deliver(pair.source, [pair.host]);
    const passed = [...crossed].flatMap((id) => {
      const segment = world.site.segments.get(id);
      return segment !== undefined && world.site.nodes.get(segment.to.node)?.kind === "router" ? [segment] : [];
    });
    const at = drawOne(random, passed);
    const others = (world.site.outgoing.get(at.to.node) ?? []).filter(
      (one) => world.domainOf(one) !== world.domainOf(at),
    );
    const wrong = drawOne(random, others);
    const faults = { wrongRoutes: new Map([[`${at.to.node} ${pair.source}`, wrong]]) };
    const truth = { ...faultAt(at.to.node), trueKinds: isOtherWay(scene, faults) ? (["plan-mismatch"] as const) : [] };
    return faulty(scene, faults, truth, random, drawFaultySeq(random));
  },
};

/** Some listener gets its packets through another number of routers than in a sound world. */
const isOtherWay = ({ world, streams }: Scene, faults: RoutedFaults): boolean =>
  streams.some(({ source, listeners }) => {
    const [sound, bad] = [world.deliver(source, listeners), world.deliver(source, listeners, faults)];
    return [...bad.hops].some(([host, hops]) => sound.hops.has(host) && sound.hops.get(host) !== hops);
  });

/** One VLAN does not cross a link in the direction of the reports, while data could cross it the other way. */
export const reportsWayCut: SimulatedClass = {
  name: "reports-way-cut",
  about: "a VLAN is cut in the direction in which reports go to the router",
  variants: MODES,
  draw: (variant, random) => {
    const scene = drawScene(variant as RoutingMode, random);
    const pair = scene === null ? null : drawPairBehindRouter(scene, random);
    if (scene === null || pair === null) return null;
    const { world } = scene;
    const domain = world.homeOf(pair.host);
    const router = world.answeringRouter(domain, pair.source) ?? "";
    const way = world.wayInDomain(pair.host, router, domain).slice(1);
    if (way.length === 0) return null;
    const { id } = drawOne(random, way);
    return faulty(scene, { dead: new Set([id]) }, faultAt(...bothNames(id)), random);
  },
};

function withOtherCosts(graph: SiteGraph, random: Random): SiteGraph {
  const isRouters = ({ a, b }: SiteGraph["links"][number]): boolean =>
    [a, b].some(({ node }) => graph.nodes.get(node)?.kind === "router");
  const links = graph.links.map((link) => (isRouters(link) ? { ...link, cost: drawInteger(random, 1, 9) } : link));
  return buildSiteGraph(graph.name, [...graph.nodes.values()], links, graph.vlans ?? null);
}

/** How the plan's own costs may be settled: more draws than there are ways of equal cost in these sites. */
const PLANNED_DRAWS = 12;

/** The routers count other costs than the plan has, so that packets come another way. */
export const otherWay: SimulatedClass = {
  name: "other-way",
  about: "routers count other costs than the plan: packets come another way",
  variants: ["other hop counts", "as many hops", "other hop counts, with a stop"],
  draw: (variant, random) => {
    const mode = drawOne(random, MODES);
    const graph = drawRoutedSite(random, { hasSpareRouter: true, hasAddresses: true });
    const world = new RoutedWorld(withOtherCosts(graph, random), mode, random);
    const streams = drawStreams(graph, random);
    if (!areWorthARun(world, streams)) return null;
    const planned = Array.from({ length: PLANNED_DRAWS }, () => new RoutedWorld(graph, mode, random));
    const otherSegments = new Set<string>();
    let [isOther, areHopsOther] = [false, false];
    for (const { source, listeners } of streams) {
      const real = world.deliver(source, listeners);
      const ways = planned.map((one) => one.deliver(source, listeners));
      const isPlanned = ways.some(({ crossed }) => [...real.crossed].every((id) => crossed.has(id)));
      if (isPlanned) continue;
      isOther = true;
      areHopsOther ||= listeners.some((host) => ways.every(({ hops }) => hops.get(host) !== real.hops.get(host)));
      for (const id of real.crossed) if (ways.every(({ crossed }) => !crossed.has(id))) otherSegments.add(id);
    }
    if (!isOther || areHopsOther !== (variant !== "as many hops")) return null;
    const truth: ClassTruth = { ...NOTHING_WRONG, trueKinds: ["plan-mismatch"] };
    if (variant !== "other hop counts, with a stop")
      return { plan: graph, world: graph, run: observeRouted(world, streams, {}, random), truth };
    const id = drawOne(random, [...otherSegments]);
    const one = faulty({ graph, world, streams }, { dead: new Set([id]) }, { ...truth, places: bothNames(id) }, random);
    // With nobody served by another way than planned, nothing shows that there is one.
    const isShown = (hops: ReadonlyMap<string, number>, source: string, listeners: readonly string[]): boolean =>
      listeners.some((host) => {
        const ways = planned.map((other) => other.deliver(source, listeners).hops.get(host));
        return hops.has(host) && ways.every((count) => count !== hops.get(host));
      });
    const areShown = streams.some(({ source, listeners }) =>
      isShown(world.deliver(source, listeners, { dead: new Set([id]) }).hops, source, listeners),
    );
    return areShown ? one : null;
  },
};

/** Nothing is wrong, and routes are as the plan has them. */
export const soundRouting: SimulatedClass = {
  name: "sound-routing",
  about: "a routed site on which nothing is wrong",
  variants: MODES,
  draw: (variant, random) => {
    const scene = drawScene(variant as RoutingMode, random);
    if (scene === null) return null;
    const { graph, world, streams } = scene;
    return { plan: graph, world: graph, run: observeRouted(world, streams, {}, random), truth: NOTHING_WRONG };
  },
};

export const routedClasses: readonly SimulatedClass[] = [
  soundRouting,
  deafRouter,
  reversePath,
  reportsWayCut,
  otherWay,
];
