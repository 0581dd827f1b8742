import { loadSitePlan, pathBetween, type SiteGraph } from "@dyetrace/site";
import { loadScenario, type RunReport } from "@dyetrace/wire";
import { accountOfRun, type RunAccount } from "../../../controller/src/account/run-account.ts";
import type { RunEvidence } from "../../../controller/src/account/run-evidence.ts";
import { buildReport } from "../../../controller/src/conclude/build-report.ts";
import { withOverTime } from "../../../controller/src/conclude/media-over-time.ts";
import { readFollowed } from "../../../controller/src/followed/read-followed.ts";
import { compileScenario } from "../../../controller/src/plan/compile-scenario.ts";
import type { CompiledRun } from "../../../controller/src/plan/compiled-run.ts";
import type { Random } from "../seeded-random.ts";
import type { ComesTo } from "./follow-media.ts";

/** The demo's site with a coder in it that has no agent. @param demo the plan's text */
export function followedSite(demo: string): SiteGraph {
  const sender = "encoder: { kind: host, agent: none, addresses: [10.4.0.9, '2001:db8::9'] }";
  return loadSitePlan(planWithSender(demo, sender), "quillfen.yaml");
}

const planWithSender = (demo: string, sender: string): string =>
  demo.replace("nodes:\n", `nodes:\n  ${sender}\n`).replace("links:\n", "links:\n  - core:11 -- encoder:eth0\n");

export function followRun(
  graph: SiteGraph,
  seconds: number,
  stream = "from: encoder",
  timeline = `- { at: 0s, join: lobby, agents: all }
  - { at: ${seconds}s, leave: lobby, agents: all }`,
  group = "239.196.4.7",
): CompiledRun {
  const text = `
scenario: follow
streams:
  - { name: lobby, production: true, group: "${group}", port: 5004, ${stream} }
timeline:
  ${timeline}
`;
  const { scenario } = loadScenario(text, "follow.yaml");
  return compileScenario("00000000000000aa", scenario, graph, new Map());
}

/** The same stays, of a stream of our own that the same host sends: an agent runs on it then. */
export function ownRun(
  demo: string,
  seconds: number,
  packetsPerSecond: number,
  group: string,
): [CompiledRun, SiteGraph] {
  const text = `
scenario: own
streams:
  - { name: lobby, source: encoder, group: "${group}", rate: ${packetsPerSecond * 400 * 8} bit/s, payload: 400 B }
timeline:
  - { at: 0s, join: lobby, agents: all }
  - { at: 0s, emit: lobby }
  - { at: ${seconds}s, leave: lobby, agents: all }
  - { at: ${seconds}s, stop: lobby }
`;
  const graph = loadSitePlan(planWithSender(demo, "encoder: { kind: host }"), "quillfen.yaml");
  const { scenario } = loadScenario(text, "own.yaml");
  const addresses = new Map([["encoder", { ipv4: "10.4.0.9", ipv6: ["2001:db8::9"] }]]);
  return [compileScenario("00000000000000ab", scenario, graph, addresses), graph];
}

/** Segments that the stream crosses, link by link. */
export function crossedSegments(graph: SiteGraph, from: string, run: CompiledRun): string[] {
  const crossed = new Set<string>();
  for (const { agent } of run.joins) {
    for (const segment of pathBetween(graph, from, agent)?.segments ?? []) crossed.add(segment.id);
  }
  return [...crossed];
}

/** Each packet meets each segment once: whoever is behind it misses the same packets. */
export function lossOn(graph: SiteGraph, from: string, losses: ReadonlyMap<string, number>, random: Random): ComesTo {
  const fates = new Map<string, Map<number, boolean>>();
  const isLostOn = (segment: string, packet: number): boolean => {
    let own = fates.get(segment);
    if (own === undefined) {
      own = new Map();
      fates.set(segment, own);
    }
    let fate = own.get(packet);
    if (fate === undefined) {
      fate = random() < (losses.get(segment) ?? 0);
      own.set(packet, fate);
    }
    return fate;
  };
  const ways = new Map<string, readonly string[]>();
  return (agent, packet) => {
    let way = ways.get(agent);
    if (way === undefined) {
      const all = pathBetween(graph, from, agent)?.segments.map(({ id }) => id) ?? [];
      way = all.filter((id) => losses.has(id));
      ways.set(agent, way);
    }
    for (const segment of way) if (isLostOn(segment, packet)) return "lost";
    return "comes";
  };
}

/** The same run with less room for names. */
export const withNames = (run: CompiledRun, namesPerInterval: number): CompiledRun => ({
  ...run,
  tasks: new Map(
    [...run.tasks].map(([agent, task]) => [
      agent,
      { ...task, streams: task.streams.map((one) => ({ ...one, production: { format: null, namesPerInterval } })) },
    ]),
  ),
});

/** What all agents told of the followed streams, put together. */
export function accountOfFollowed(run: CompiledRun, evidence: RunEvidence, graph: SiteGraph): RunAccount {
  const read = readFollowed(run, evidence, graph);
  return accountOfRun(read.run, read.evidence);
}

export function conclude(run: CompiledRun, evidence: RunEvidence, graph: SiteGraph): RunReport {
  const read = readFollowed(run, evidence, graph);
  const account = accountOfRun(read.run, read.evidence);
  return { ...buildReport(account, graph), media: withOverTime(read.media, account) };
}
