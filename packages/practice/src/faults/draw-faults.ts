import {
  distributionTree,
  hostOfAgent,
  type LinkSegment,
  planPlace,
  querierOf,
  type SiteGraph,
  segmentId,
} from "@dyetrace/site";
import { Fault, type PracticeFaultName } from "@dyetrace/wire";
import { explainFaults } from "./explain-faults.ts";
import { loadPracticeFaults } from "./load-practice-faults.ts";
import type { PracticeFault } from "./practice-fault.ts";

/** By what faults for an exercise are drawn. The same words and the same plan give the same faults, in the same order. */
export interface FaultDraw {
  /** A whole number, 0 to 2^32 - 1. */
  readonly seed: number;
  /** The agent that sends in the exercise: faults then lie on the ways from it. Null: wherever packets toward a host may go. */
  readonly source: string | null;
}

/** Draws that do not fit the site, or each other, are left out; so many are tried. */
const MOST_DRAWS = 100;

type Parameters = Readonly<Record<string, unknown>>;

/**
 * What is drawn, and how strong. Shares and limits bite on the 2 Mbit/s of the shipped scenarios. Left out is what shows only with
 * more than one fault or beside one certain group (isolated, static-entry, not-forwarding), while a cable is plugged in
 * (forward-delay), with joins that name their source (igmp-version), with PIM (no-rendezvous-point), in no loss or leak
 * (querier-timers), or is often wanted (to-unicast).
 */
const EXERCISES: Readonly<Partial<Record<PracticeFaultName, readonly Parameters[]>>> = {
  drop: [{ share: "100 %" }, { share: "20 %" }, { share: "5 %" }, { "larger-than": "1000 B" }],
  duplicate: [{ share: "10 %" }],
  reorder: [{ every: 20, delay: "20ms" }],
  "rate-limit": [{ rate: "1 Mbit/s" }, { packets: 50 }],
  "snooping-off": [{}],
  "table-size": [{ max: 4 }],
  "drop-queries": [{}],
  "drop-reports": [{}],
  "drop-leaves": [{}],
  "fast-leave": [{}],
  "no-querier": [{}, { silent: true }],
  "second-querier": [{}],
  "router-port": [{ mode: "always" }],
  mtu: [{ size: "1000 B" }],
  "link-down": [{}],
  hairpin: [{}],
  "host-firewall": [{ block: "udp" }, { block: "igmp" }],
  "reverse-path": [{}],
  "vlan-missing": [{}],
  "access-list": [{}],
};

/**
 * Faults by chance, one after the other, each one that the site can have by itself; whether two go together is the site's to say.
 * @param queriers nodes that query
 * @throws {Fault} AGENT_MISSING where the plan has no agent of the source's name
 */
export function* drawFaults(graph: SiteGraph, queriers: readonly string[], draw: FaultDraw): Generator<PracticeFault> {
  const chance = numbersOf(draw.seed);
  const oneOf = <T>(items: readonly T[]): T | undefined => items[Math.floor(chance() * items.length)];
  const source = draw.source === null ? null : hostNamed(graph, draw.source);
  const onTheWay = placesOnTheWay(graph, queriers, source);
  const kinds = explainFaults(graph, queriers).flatMap(({ fault, places }) => {
    const strengths = EXERCISES[fault];
    const fitting = places.filter((place) => onTheWay(fault, place));
    return strengths === undefined || fitting.length === 0 ? [] : [{ fault, strengths, places: fitting }];
  });
  for (let tried = 0; tried < MOST_DRAWS; tried++) {
    const kind = oneOf(kinds);
    const on = kind === undefined ? undefined : oneOf(kind.places);
    if (kind === undefined || on === undefined) return;
    const more = { ...oneOf(kind.strengths) };
    const vlan = kind.fault === "vlan-missing" ? oneOf(graph.segments.get(on)?.link.vlans ?? []) : undefined;
    const from = kind.fault === "reverse-path" ? (source ?? oneOf(sendersBut(graph, on))) : undefined;
    const entry = {
      ...{ fault: kind.fault, on, ...more },
      ...(vlan === undefined ? {} : { vlan }),
      ...(from === undefined ? {} : { source: from }),
    };
    const fault = asLoaded(entry, graph);
    if (fault !== null) yield fault;
  }
}

function hostNamed(graph: SiteGraph, agent: string): string {
  const host = hostOfAgent(graph, agent);
  if (host !== null) return host;
  throw new Fault("AGENT_MISSING", `The plan has no agent ${agent}`, "Name one of its hosts that has an agent");
}

const withAgent = (graph: SiteGraph): readonly string[] =>
  [...graph.nodes.values()].filter(({ agent }) => agent !== null).map(({ name }) => name);

const sendersBut = (graph: SiteGraph, on: string): readonly string[] => withAgent(graph).filter((name) => name !== on);

/** Read as a file with this one fault in it; null where it does not fit the plan. */
function asLoaded(entry: Parameters, graph: SiteGraph): PracticeFault | null {
  try {
    return loadPracticeFaults(JSON.stringify({ faults: [entry] }), "drawn", graph)[0] ?? null;
  } catch (error) {
    if (error instanceof Fault) return null;
    throw error;
  }
}

/** Whether an exercise can meet a fault at a place: packets toward hosts, queries from the querier, reports toward it. */
function placesOnTheWay(
  graph: SiteGraph,
  queriers: readonly string[],
  source: string | null,
): (fault: PracticeFaultName, place: string) => boolean {
  const hosts = withAgent(graph);
  const isHost = (node: string): boolean => graph.nodes.get(node)?.kind === "host";
  const querier = querierOf(graph, source ?? hosts[0] ?? "")?.node ?? queriers[0] ?? null;
  const asked = querier === null ? [] : distributionTree(graph, planPlace(querier), hosts).segments;
  const queried = new Set(asked.map(({ id }) => id));
  const reported = new Set(asked.map(({ from, to }) => segmentId(to, from)));
  const toListeners = [...graph.segments.values()].filter(({ from }) => !isHost(from.node));
  const poured: readonly LinkSegment[] =
    source === null ? toListeners : distributionTree(graph, source, sendersBut(graph, source)).segments;
  const segments = new Set(poured.map(({ id }) => id));
  const nodes = new Set(poured.flatMap(({ from, to }) => [from.node, to.node]).filter((node) => node !== source));
  const ports = new Map(poured.map(({ from, to }) => [`${from.node}:${from.port}`, to.node]));
  return (fault, place) => {
    if (fault === "drop-queries") return queried.has(place);
    if (fault === "drop-reports" || fault === "drop-leaves") return reported.has(place);
    if (fault === "fast-leave") return !isHost(ports.get(place) ?? source ?? hosts[0] ?? "");
    if (place.includes(">")) return segments.has(place);
    return place.includes(":") ? ports.has(place) : nodes.has(place);
  };
}

/** Uniform numbers in [0, 1), a 32-bit mixing generator (public domain "mulberry32"): good enough to draw an exercise. */
function numbersOf(seed: number): () => number {
  let state = seed >>> 0;
  return () => {
    state = (state + 0x6d2b79f5) >>> 0;
    let mixed = state;
    mixed = Math.imul(mixed ^ (mixed >>> 15), mixed | 1);
    mixed ^= mixed + Math.imul(mixed ^ (mixed >>> 7), mixed | 61);
    return ((mixed ^ (mixed >>> 14)) >>> 0) / 2 ** 32;
  };
}
