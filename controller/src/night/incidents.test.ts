import { loadSitePlan, type SiteGraph } from "@dyetrace/site";
import { loadScenario, type ReportIncident, type RunReport } from "@dyetrace/wire";
import { expect, test } from "vitest";
import { type IsLost, simulateEvidence } from "../../../tests/simulation/simulate-evidence.ts";
import { accountOfRun } from "../account/run-account.ts";
import type { RunEvidence } from "../account/run-evidence.ts";
import { buildReport } from "../conclude/build-report.ts";
import { countMinutes } from "../intake/count-minutes.ts";
import { noteEpisodes } from "../intake/note-episodes.ts";
import { compileScenario } from "../plan/compile-scenario.ts";
import type { CompiledRun } from "../plan/compiled-run.ts";
import type { Episode } from "../store/pack/kept-report.ts";
import { clusterEpisodes } from "./cluster-episodes.ts";
import { Witnesses } from "./witnesses.ts";

/**
 * The same reports twice: as a short run, from which `locate` concludes by all numbers, and as a long run, of which
 * incidents know the episodes that were noted at the door.
 */
const GRAPH = loadSitePlan(
  `
site: Quillfen
nodes:
  core: { kind: switch, querier: true }
  east: { kind: switch }
  west: { kind: switch }
  tower: { kind: host }
  office: { kind: host }
  kiosk-1: { kind: host }
  kiosk-2: { kind: host }
  board-1: { kind: host }
  board-2: { kind: host }
  lounge: { kind: host }
links:
  - core:1 -- east:24
  - core:2 -- west:24
  - core:3 -- lounge:eth0
  - core:9 -- tower:eth0
  - core:10 -- office:eth0
  - east:1 -- kiosk-1:eth0
  - east:2 -- kiosk-2:eth0
  - west:1 -- board-1:eth0
  - west:2 -- board-2:eth0
`,
  "plan.yaml",
);

/** 100 packets/s of each stream for 60 s: number n leaves at 1 s + n x 10 ms. */
const compile = (
  streams = "{ name: board, source: tower, group: 233.252.0.10, rate: 80 kbit/s, payload: 100 B }",
  endS = 61,
): CompiledRun => {
  const names = [...streams.matchAll(/name: (\w+)/g)].map(([, name]) => name);
  const actions = names.map(
    (name) => `{ at: 0s, join: ${name} }, { at: 1s, emit: ${name} }, { at: ${endS}s, stop: ${name} }`,
  );
  const text = `
scenario: soak
streams: [ ${streams} ]
timeline: [ ${actions.join(", ")} ]
`;
  return compileScenario("00000000000000aa", loadScenario(text, "s.yaml").scenario, GRAPH, new Map());
};

const SECOND = 1e9;
const EAST = ["kiosk-1", "kiosk-2"];
const WEST = ["board-1", "board-2"];
const between = (fromS: number, toS: number) => (atNs: number) => atNs >= fromS * SECOND && atNs < toS * SECOND;

function incidentsOf(run: CompiledRun, { agents }: RunEvidence, graph: SiteGraph = GRAPH, more: Episode[] = []) {
  const reports = [...agents.values()].flatMap(({ agent, reports }) =>
    reports.map((report) => ({ agent, body: { report, watch: null } })),
  );
  const episodes = [...reports.flatMap(({ agent, body }) => noteEpisodes(agent, body)), ...more];
  const minutes = reports.flatMap(({ agent, body }) => countMinutes(body).map((minute) => ({ agent, ...minute })));
  return clusterEpisodes(episodes, run, graph, new Witnesses(run, minutes, episodes, run.endNs));
}

const reportOf = (run: CompiledRun, evidence: RunEvidence): RunReport =>
  buildReport(accountOfRun(run, evidence), GRAPH);

const places = (incidents: readonly ReportIncident[]): unknown =>
  incidents.map(({ agents, suspects }) => [[...agents].sort(), suspects]);

test("incidents: given an outage of a link and listeners spared beside it, then the same suspects as locate names in a short run", () => {
  const run = compile();
  const isOut = between(20, 23);
  const evidence = simulateEvidence(run, (_, agent, __, atNs) => EAST.includes(agent) && isOut(atNs));
  const found = reportOf(run, evidence).findings.filter(({ kind }) => kind === "loses");
  const [incident, ...more] = incidentsOf(run, evidence);
  expect(more).toEqual([]);
  expect(incident).toMatchObject({ kind: "loss", agents: EAST, streams: ["board"], count: 600 });
  expect(found.map(({ suspects }) => suspects)).toEqual([incident?.suspects]);
  expect(incident?.suspects).toEqual(["core:1>east:24", "east", "east:24>core:1"]);
  expect(incident?.confidence).toBeGreaterThan(0.9);
});

test("incidents: given a link that loses some packets, then the same suspects as locate names in a short run, and no lost membership reports among them", () => {
  const run = compile();
  const evidence = simulateEvidence(run, (_, agent, seq) => EAST.includes(agent) && seq % 97 === 5);
  const [found] = reportOf(run, evidence).findings;
  const [incident, ...more] = incidentsOf(run, evidence);
  expect(more).toEqual([]);
  expect(found?.kind).toBe("loses");
  expect(incident?.suspects).toEqual(found?.suspects);
  expect(incident?.suspects).toEqual(["core:1>east:24", "east"]);
});

test("incidents: given two hosts that lose different packets at the same time, then each by its own link, and not by the one they share", () => {
  const run = compile();
  const evidence = simulateEvidence(
    run,
    (_, agent, seq) => (agent === "kiosk-1" && seq % 50 === 7) || (agent === "kiosk-2" && seq % 50 === 31),
  );
  expect(places(incidentsOf(run, evidence))).toEqual([
    [["kiosk-1"], ["east:1>kiosk-1:eth0", "kiosk-1"]],
    [["kiosk-2"], ["east:2>kiosk-2:eth0", "kiosk-2"]],
  ]);
});

test("incidents: given what a link loses and what one host behind it loses besides, then the link is named", () => {
  const run = compile();
  const evidence = simulateEvidence(
    run,
    (_, agent, seq) => (EAST.includes(agent) && seq % 50 === 7) || (agent === "kiosk-1" && seq % 50 === 31),
  );
  const [incident] = incidentsOf(run, evidence);
  expect(incident?.suspects).toEqual(["core:1>east:24", "east"]);
});

test("incidents: given outages of two links at once, then two incidents, each with its own place", () => {
  const run = compile();
  const isLost: IsLost = (_, agent, __, atNs) =>
    (EAST.includes(agent) && between(20, 21)(atNs)) || (WEST.includes(agent) && between(20.5, 23)(atNs));
  const evidence = simulateEvidence(run, isLost);
  const incidents = incidentsOf(run, evidence);
  expect(incidents.map(({ agents, suspects, count }) => [agents, suspects[0], count])).toEqual([
    [EAST, "core:1>east:24", 200],
    [WEST, "core:2>west:24", 500],
  ]);
});

test("incidents: given streams of two sources that one link loses, then only what lies on both ways is suspect", () => {
  const run = compile(
    "{ name: board, source: tower, group: 233.252.0.10, rate: 80 kbit/s, payload: 100 B }, { name: page, source: office, group: 233.252.0.11, rate: 80 kbit/s, payload: 100 B }",
  );
  const isOut = between(20, 23);
  const [incident, ...more] = incidentsOf(
    run,
    simulateEvidence(run, (_, __, ___, atNs) => isOut(atNs)),
  );
  expect(more).toEqual([]);
  expect(incident?.suspects).toEqual(["core"]);
});

test("incidents: given two streams that two links lose at overlapping times, then two places, not one that lies above both", () => {
  const run = compile(
    "{ name: board, source: tower, group: 233.252.0.10, rate: 80 kbit/s, payload: 100 B }, { name: page, source: tower, group: 233.252.0.11, rate: 80 kbit/s, payload: 100 B }",
  );
  const isLost: IsLost = (stream, agent, _, atNs) =>
    stream === "board" ? agent === "kiosk-1" && between(20, 25)(atNs) : agent === "kiosk-2" && between(21, 22)(atNs);
  expect(incidentsOf(run, simulateEvidence(run, isLost)).map(({ agents, suspects }) => [agents, suspects[0]])).toEqual([
    [["kiosk-1"], "east:1>kiosk-1:eth0"],
    [["kiosk-2"], "east:2>kiosk-2:eth0"],
  ]);
});

test("incidents: given an outage of one stream for everybody, then the same suspects as locate names in a short run, the source's own host among them", () => {
  const run = compile();
  const isOut = between(20, 23);
  const evidence = simulateEvidence(run, (_, __, ___, atNs) => isOut(atNs));
  const [found] = reportOf(run, evidence).findings;
  const [incident] = incidentsOf(run, evidence);
  expect(incident?.suspects).toEqual(found?.suspects);
  expect(incident?.suspects).toEqual(["tower:eth0>core:9", "core", "tower"]);
});

test("incidents: given a host that fell silent for good, then it is no witness for those that lose later", () => {
  const run = compile();
  // kiosk-2 gets nothing from 5 s on and has no gap that ends; kiosk-1 misses 3 s.
  const isLost: IsLost = (_, agent, __, atNs) =>
    (agent === "kiosk-2" && atNs >= 5 * SECOND) || (agent === "kiosk-1" && between(20, 23)(atNs));
  const evidence = simulateEvidence(run, isLost);
  const [incident] = incidentsOf(run, evidence);
  expect(incident?.agents).toEqual(["kiosk-1"]);
  // What the two of them share may be to blame; by the loss of kiosk-1 alone it would be cleared.
  expect(incident?.suspects).toContain("core:1>east:24");
});

test("incidents: given a host whose agent was away, then it clears nobody", () => {
  const run = compile();
  const isOut = between(20, 23);
  const evidence = simulateEvidence(run, (_, agent, __, atNs) => agent === "kiosk-1" && isOut(atNs));
  const away: Episode = {
    kind: "away",
    agent: "kiosk-2",
    streamId: null,
    fromNs: 10 * SECOND,
    toNs: 30 * SECOND,
    count: 0,
    detail: "",
  };
  const alone = incidentsOf(run, evidence).find(({ kind }) => kind === "loss");
  expect(alone?.suspects.slice(0, 2)).toEqual(["east:1>kiosk-1:eth0", "kiosk-1"]);
  const unsure = incidentsOf(run, evidence, GRAPH, [away]).find(({ kind }) => kind === "loss");
  expect(unsure?.suspects).toEqual(
    expect.arrayContaining(["core:1>east:24", "east", "east:1>kiosk-1:eth0", "kiosk-1"]),
  );
});

/** Nothing is measured from one second to the other. */
const blindFrom = (kind: "restart" | "away", agent: string, fromS: number, toS: number): Episode => ({
  ...{ kind, agent, streamId: null, fromNs: fromS * SECOND, toNs: toS * SECOND, count: 0, detail: "" },
});

test("incidents: given an outage of one host, as which the host beside it ends its agent, then the beside is a witness by what it got before; given one that got nothing either, then it is none", () => {
  const run = compile();
  const isOut = between(20, 40);
  const restart = blindFrom("restart", "kiosk-2", 39, 41);
  const alone = simulateEvidence(run, (_, agent, __, atNs) => agent === "kiosk-1" && isOut(atNs));
  const [spared] = incidentsOf(run, alone, GRAPH, [restart]).filter(({ kind }) => kind === "loss");
  expect(spared?.suspects.slice(0, 2)).toEqual(["east:1>kiosk-1:eth0", "kiosk-1"]);
  // The packets that kiosk-2 misses leave no gap: its agent ends before another one comes.
  const both = simulateEvidence(run, (_, agent, __, atNs) => EAST.includes(agent) && isOut(atNs));
  const own = both.agents.get("kiosk-2");
  if (own === undefined) throw new Error("kiosk-2 takes part");
  const cut = own.reports.map((report) => ({
    ...report,
    listeners: report.listeners.map((one) => ({
      ...one,
      receipt: one.receipt && { ...one.receipt, lost: 0, spans: [] },
    })),
  }));
  const untold = { ...both, agents: new Map([...both.agents, ["kiosk-2", { ...own, reports: cut }]]) };
  const [doubted] = incidentsOf(run, untold, GRAPH, [restart]).filter(({ kind }) => kind === "loss");
  expect(doubted?.suspects).toEqual(expect.arrayContaining(["core:1>east:24", "east:1>kiosk-1:eth0"]));
});

test("incidents: given an outage of one host within and beyond an outage of all behind its switch, then each with its own place and end", () => {
  const run = compile();
  const isLost: IsLost = (_, agent, __, atNs) =>
    (EAST.includes(agent) && between(20, 25)(atNs)) || (agent === "kiosk-1" && between(22, 28)(atNs));
  const incidents = incidentsOf(run, simulateEvidence(run, isLost));
  expect(incidents.map(({ agents, suspects, count }) => [agents, suspects[0], count])).toEqual([
    [EAST, "core:1>east:24", 1000],
    [["kiosk-1"], "east:1>kiosk-1:eth0", 300],
  ]);
  const [trunk, host] = incidents;
  for (const [atMs, told] of [
    [20_000, trunk?.fromMs],
    [25_000, trunk?.toMs],
    [25_000, host?.fromMs],
    [28_000, host?.toMs],
  ] as const) {
    expect(Math.abs((told ?? 0) - atMs)).toBeLessThan(100);
  }
});

/** 100 packets/s for eight hours. */
const NIGHT = compile(undefined, 8 * 3600);
const NIGHT_EVERYONE = new Witnesses(
  NIGHT,
  [...EAST, ...WEST, "lounge"].flatMap((agent) =>
    Array.from({ length: 8 * 60 + 1 }, (_, minute) => ({ agent, streamId: 1, minute, received: 1 })),
  ),
  [],
  NIGHT.endNs,
);

/** What the reports of one listener tell of numbers that did not come, second by second. */
function lossOf(
  agent: string,
  fromS: number,
  toS: number,
  lostIn: (second: number) => readonly [number, number][],
): Episode[] {
  return Array.from({ length: toS - fromS }, (_, i) => fromS + i).flatMap((second) => {
    const runs = lostIn(second);
    const [first] = runs;
    if (first === undefined) return [];
    const at = (number: number): number => SECOND + number * 1e7;
    const last = runs.at(-1) ?? first;
    const count = runs.reduce((sum, [from, to]) => sum + to - from + 1, 0);
    const detail = runs.map(([from, to]) => `${from}-${to}`).join(" ");
    return [{ kind: "loss", agent, streamId: 1, fromNs: at(first[0]), toNs: at(last[1] + 1), count, detail }];
  });
}
/** Three of the hundred numbers of each second, others for each seed. */
const threeOf =
  (seed: number) =>
  (second: number): [number, number][] =>
    [7, 41, 83]
      .map((n) => {
        const number = (second - 1) * 100 + ((n + seed * 13 + second * 7) % 100);
        return [number, number] as [number, number];
      })
      .sort((a, b) => a[0] - b[0]);
const outage = (agents: readonly string[], fromS: number, toS: number): Episode[] =>
  agents.flatMap((agent) => lossOf(agent, fromS, fromS + 1, () => [[(fromS - 1) * 100, (toS - 1) * 100 - 1]]));

test("incidents of a night: given one host that loses 3 % all the time, then that is one incident, and outages elsewhere and of its own keep their times and places", () => {
  const episodes = [
    ...lossOf("kiosk-1", 2, 8 * 3600, threeOf(1)),
    ...outage(EAST, 600, 605),
    ...outage(WEST, 4000, 4003),
    ...outage(["lounge"], 4001, 4010),
    ...outage(["kiosk-1"], 20_000, 20_030),
    ...lossOf("board-2", 25_000, 25_003, () => [[2_500_000, 2_500_001]]),
  ];
  const incidents = clusterEpisodes(episodes, NIGHT, GRAPH, NIGHT_EVERYONE);
  expect(
    incidents.map(({ agents, suspects, fromMs, toMs }) => [
      agents,
      suspects[0],
      Math.round(fromMs / 1000),
      Math.round(toMs / 1000),
    ]),
  ).toEqual([
    [["kiosk-1"], "east:1>kiosk-1:eth0", 2, 28_800],
    [EAST, "core:1>east:24", 600, 605],
    [WEST, "core:2>west:24", 4000, 4003],
    [["lounge"], "core:3>lounge:eth0", 4001, 4010],
    [["kiosk-1"], "east:1>kiosk-1:eth0", 20_000, 20_030],
    [["board-2"], "west:2>board-2:eth0", 25_001, 25_001],
  ]);
  expect(incidents[0]?.title).toMatch(
    /^board was lost all the time at kiosk-1: about 3(\.\d+)? %, 86\u202f[0-9]{3} packets within/,
  );
});

test("incidents of a night: given a link that loses all the time for both behind it, then it is named, and not the hosts", () => {
  const episodes = EAST.flatMap((agent) => lossOf(agent, 2, 8 * 3600, threeOf(2)));
  const [incident, ...more] = clusterEpisodes(episodes, NIGHT, GRAPH, NIGHT_EVERYONE);
  expect(more).toEqual([]);
  expect(incident?.agents.toSorted()).toEqual(EAST);
  expect(incident?.suspects).toEqual(["core:1>east:24", "east"]);
});

test("incidents of a night: given short outages every 5 s for ten minutes, then they are outages, and no steady loss", () => {
  const episodes = Array.from({ length: 120 }, (_, i) => outage(EAST, 1000 + 5 * i, 1001 + 5 * i)).flat();
  const incidents = clusterEpisodes(episodes, NIGHT, GRAPH, NIGHT_EVERYONE);
  expect(incidents).toHaveLength(120);
  expect(incidents.every(({ title }) => !title.includes("all the time"))).toBe(true);
});
