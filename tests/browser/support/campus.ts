import { locate } from "@dyetrace/locate";
import { loadSitePlan, type SiteGraph } from "@dyetrace/site";
import type { ReportReceipt, RunReport } from "@dyetrace/wire";
import { drawInteger, drawOne, drawSome, type Random, seededRandom } from "../../simulation/seeded-random.ts";
import { simulateRun } from "../../simulation/simulate-run.ts";
import type { SimulatedFault } from "../../simulation/simulated-fault.ts";
import { recorded } from "./recorded.ts";

/** How large a generated campus is. */
export interface CampusSize {
  readonly switches: number;
  readonly hosts: number;
}

export const SIXTY_SWITCHES: CampusSize = { switches: 60, hosts: 200 };
export const THOUSAND_HOSTS: CampusSize = { switches: 60, hosts: 1000 };

const QUARTERS = [
  "quay",
  "hall",
  "pier",
  "depot",
  "yard",
  "tower",
  "gate",
  "store",
  "office",
  "north",
  "south",
  "dock",
];
const USES = ["board", "kiosk", "till", "desk", "screen", "speaker"];
/** Of the switches, one in so many distributes to the others. */
const PER_DISTRIBUTION = 7;
const AGENT_SHARE = 0.6;

/** A core switch that asks, distribution switches in the quarters of the site, access switches below them, and hosts. */
export function campusPlan({ switches, hosts }: CampusSize, seed: number): string {
  const random = seededRandom(seed);
  const quarters = Math.max(2, Math.round(switches / PER_DISTRIBUTION));
  const distributions = Array.from({ length: quarters }, (_, index) => quarterName(index));
  const access = Array.from({ length: switches - 1 - quarters }, (_, index) => {
    const above = index < quarters ? distributions[index] : drawOne(random, distributions);
    return { above: above ?? "", name: "" };
  }).map((one, index, all) => ({
    ...one,
    name: `${one.above}-${1 + all.slice(0, index).filter(({ above }) => above === one.above).length}`,
  }));
  const ports = new Map<string, number>();
  const portOf = (name: string): string => {
    const port = (ports.get(name) ?? 0) + 1;
    ports.set(name, port);
    return `${name}:${port}`;
  };
  const ends = Array.from({ length: hosts - 1 }, () => {
    const { name: above } = drawOne(random, access);
    const port = portOf(above);
    return { port, name: `${above}-${drawOne(random, USES)}-${port.split(":")[1]}`, hasAgent: random() < AGENT_SHARE };
  });
  return [
    `site: Quillfen Harbour of ${switches} switches`,
    "nodes:",
    "  core: { kind: switch, querier: true }",
    ...[...distributions, ...access.map(({ name }) => name)].map((name) => `  ${name}: { kind: switch }`),
    "  head-end: { kind: host }",
    ...ends.map(({ name, hasAgent }) => `  ${name}: { kind: host${hasAgent ? "" : ", agent: none"} }`),
    "links:",
    `  - ${portOf("core")} -- head-end:eth0`,
    ...distributions.map((name) => `  - { between: ["${portOf("core")}", "${name}:up"], speed: 10 Gbit/s }`),
    ...access.map(({ above, name }) => `  - { between: ["${portOf(above)}", "${name}:up"], speed: 1 Gbit/s }`),
    ...ends.map(({ port, name }) => `  - ${port} -- ${name}:eth0`),
    "",
  ].join("\n");
}

const quarterName = (index: number): string => {
  const name = QUARTERS[index % QUARTERS.length] ?? "";
  return index < QUARTERS.length ? name : `${name}${Math.floor(index / QUARTERS.length) + 1}`;
};

const PACKETS = 600;
const PER_SECOND = 100;

/** A run on a generated campus, and where its fault really is. */
export interface CampusRun {
  readonly plan: string;
  readonly graph: SiteGraph;
  readonly report: RunReport;
  /** The link that nothing passes; null in a healthy run. */
  readonly cut: string | null;
}

/**
 * A run of one stream from the head end to every agent but a few bystanders, with everything lost between a distribution
 * switch and one of its access switches. What it says was found is what the localiser finds.
 */
export function campusRun(size: CampusSize, seed: number, isHealthy = false): CampusRun {
  const plan = campusPlan(size, seed);
  const graph = loadSitePlan(plan, "campus.yaml");
  const random = seededRandom(seed + 1);
  const agents = [...graph.nodes.values()].flatMap(({ agent }) => agent ?? []).filter((name) => name !== "head-end");
  const bystanders = drawSome(random, agents, Math.ceil(agents.length / 20));
  const listeners = agents.filter((name) => !bystanders.includes(name));
  const cut = isHealthy ? null : drawCut(random, graph, listeners);
  const faults: SimulatedFault[] = cut === null ? [] : [{ kind: "dead-segment", segment: cut }];
  const stream = {
    stream: "board",
    group: "239.195.10.4",
    source: "head-end",
    listeners,
    bystanders,
    packets: PACKETS,
  };
  const seen = simulateRun(graph, [stream], faults, random);
  const { findings, segments, coverage } = locate(graph, seen);
  const [sample] = recorded("outages").report.receipts;
  if (sample === undefined) throw new Error("the recording has no receipt");
  const receipts = seen.listeners.map(({ host, receivedPackets }): ReportReceipt => {
    const received = receivedPackets ?? 0;
    const lost = PACKETS - received;
    const asGood = { ...sample, listener: host, sent: PACKETS, received, lost, lossRatio: lost / PACKETS };
    return lost === 0
      ? { ...asGood, jitterMs: drawInteger(random, 5, 60) / 1000 }
      : { ...asGood, jitterMs: null, delayVariation: null, lossPattern: null, longestGapMs: null };
  });
  const of = recorded("outages").report;
  return {
    plan,
    graph,
    cut,
    report: {
      ...of,
      run: `${isHealthy ? "5" : "6"}${String(seed * 10_000 + size.hosts).padStart(15, "0")}`,
      site: graph.name,
      verdict: isHealthy ? "pass" : "fail",
      reason: findings[0]?.title ?? "Everything arrived.",
      streams: of.streams.map((one) => ({ ...one, source: "head-end", sent: PACKETS, rateBps: PER_SECOND * 8 * 1316 })),
      receipts,
      bystanders: seen.bystanders.map(({ stream: name, host, frames, firstMs, lastMs, ranges }) => ({
        stream: name,
        agent: host,
        frames: frames ?? 0,
        firstMs,
        lastMs,
        ranges: ranges.map(([first, last]): [number, number] => [first, last]),
      })),
      queriers: [],
      segments: segments.map((one) => ({ ...one })),
      findings: findings.map((one) => ({
        ...one,
        streams: [...one.streams],
        suspects: [...one.suspects],
        evidence: [...one.evidence],
        causes: undefined,
      })) as unknown as RunReport["findings"],
      expectations: [],
      coverage: {
        ambiguousSets: coverage.ambiguousSets.map((set) => [...set]),
        nextAgentAt: coverage.nextAgentAt,
      },
      hosts: [],
      notes: [],
    },
  };
}

/** From a distribution switch to an access switch with several listeners behind it. */
function drawCut(random: Random, graph: SiteGraph, listeners: readonly string[]): string {
  const isListener = new Set(listeners);
  const cuts = [...graph.segments.values()].filter(({ from, to }) => {
    if (from.node === "core" || graph.nodes.get(from.node)?.kind !== "switch" || to.port !== "up") return false;
    const behind = (graph.outgoing.get(to.node) ?? []).filter(({ to: end }) => isListener.has(end.node));
    return behind.length >= 3;
  });
  return drawOne(random, cuts).id;
}
