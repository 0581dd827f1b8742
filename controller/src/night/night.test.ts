import { loadSitePlan } from "@dyetrace/site";
import { loadScenario, type ReportIncident } from "@dyetrace/wire";
import { expect, test } from "vitest";
import { seededRandom } from "../../../tests/simulation/seeded-random.ts";
import { compileScenario } from "../plan/compile-scenario.ts";
import { diskNeed } from "../runs/disk-need.ts";
import type { Episode, EpisodeKind } from "../store/pack/kept-report.ts";
import { DEFAULT_RETENTION } from "../store/retention.ts";
import { clusterEpisodes } from "./cluster-episodes.ts";
import { absences } from "./find-incidents.ts";
import { findPatterns } from "./morning/find-patterns.ts";
import { Witnesses } from "./witnesses.ts";

const GRAPH = loadSitePlan(
  `site: Quillfen
nodes:
  core: { kind: switch, querier: true }
  east: { kind: switch }
  tower: { kind: host }
  kiosk-1: { kind: host }
  kiosk-2: { kind: host }
  lounge: { kind: host }
links:
  - core:1 -- east:24
  - core:9 -- tower:eth0
  - core:3 -- lounge:eth0
  - east:1 -- kiosk-1:eth0
  - east:2 -- kiosk-2:eth0
`,
  "plan.yaml",
);
const SCENARIO = loadScenario(
  `scenario: soak
streams:
  - { name: board, source: tower, group: 239.195.10.4, rate: 1 Mbit/s }
timeline:
  - { at: 0s, join: board, agents: all }
  - { at: 1s, emit: board }
  - { after: 8h, stop: board }
`,
  "soak.yaml",
).scenario;
const RUN = compileScenario("00000000000000aa", SCENARIO, GRAPH, new Map());
const SECOND = 1e9;

const episode = (kind: EpisodeKind, agent: string, fromS: number, toS: number, count = 0): Episode => ({
  kind,
  agent,
  streamId: kind === "loss" ? 1 : null,
  fromNs: fromS * SECOND,
  toNs: toS * SECOND,
  count,
  detail: "",
});

/** Everyone gets something in each minute of the night. */
const EVERYONE = new Witnesses(
  RUN,
  ["kiosk-1", "kiosk-2", "lounge"].flatMap((agent) =>
    Array.from({ length: 8 * 60 + 1 }, (_, minute) => ({ agent, streamId: 1, minute, received: 1 })),
  ),
  [],
  RUN.endNs,
);

test("clusterEpisodes: given losses at the same time behind one switch, then one incident that names the way there", () => {
  const [incident, ...more] = clusterEpisodes(
    [
      episode("loss", "kiosk-1", 100, 102, 30),
      episode("loss", "kiosk-2", 100.5, 102, 31),
      episode("query", "lounge", 101, 101, 1),
    ],
    RUN,
    GRAPH,
    EVERYONE,
  );
  expect(more).toEqual([]);
  expect(incident).toMatchObject({
    kind: "loss",
    count: 61,
    agents: ["kiosk-1", "kiosk-2"],
    fromMs: 100_000,
    toMs: 102_000,
  });
  expect(incident?.suspects).toEqual(["core:1>east:24", "east"]);
});

test("clusterEpisodes: given losses far apart in time, then incidents of their own; given loss at everyone, then the way that all share", () => {
  const all = ["kiosk-1", "kiosk-2", "lounge"];
  const incidents = clusterEpisodes(
    [...all.map((agent) => episode("loss", agent, 10, 11, 5)), episode("loss", "lounge", 60, 61, 1)],
    RUN,
    GRAPH,
    EVERYONE,
  );
  expect(incidents.map(({ suspects }) => suspects)).toEqual([
    ["tower:eth0>core:9", "core", "tower"],
    ["core:3>lounge:eth0", "lounge"],
  ]);
});

/** Copies as reports tell them: how many in each second. */
const copies = (agent: string, fromS: number, counts: readonly number[]): Episode[] =>
  counts.map((count, i) => ({ ...episode("duplicates", agent, fromS + i, fromS + i + 1, count), streamId: 1 }));

test("clusterEpisodes: given copies at two hosts of a switch that begin a second apart, then one incident where only packets at the report's cut differ, and two where one host had a share of its own", () => {
  const agentsOf = (episodes: Episode[]): unknown =>
    clusterEpisodes(episodes, RUN, GRAPH, EVERYONE).map(({ agents, fromMs }) => [agents, fromMs]);
  expect(agentsOf([...copies("kiosk-1", 100, [1, 15, 15, 9]), ...copies("kiosk-2", 101, [16, 15, 9])])).toEqual([
    [["kiosk-1", "kiosk-2"], 100_000],
  ]);
  expect(agentsOf([...copies("kiosk-1", 100, [11, 15, 15, 9]), ...copies("kiosk-2", 101, [13, 15, 9])])).toEqual([
    [["kiosk-1"], 100_000],
    [["kiosk-2"], 101_000],
  ]);
});

test("clusterEpisodes: given a loss while the source's agent was away, then the source, not the network, is named", () => {
  const incidents = clusterEpisodes(
    [
      episode("away", "tower", 100, 104),
      episode("loss", "kiosk-1", 103, 104, 9),
      episode("loss", "lounge", 103, 104, 9),
    ],
    RUN,
    GRAPH,
    EVERYONE,
  );
  expect(incidents.map(({ kind, suspects }) => [kind, suspects])).toEqual([
    ["away", []],
    ["source", []],
  ]);
});

test("absences: given two stints with a pause, then the pause is an absence; given none at all, then nothing is made up", () => {
  const stint = { agent: "lounge", stint: "a", keptNumber: 1, isFinal: false, droppedReports: 0 };
  const gaps = absences(
    RUN,
    [
      { ...stint, fromNs: 0, toNs: 10 * SECOND },
      { ...stint, stint: "b", fromNs: 14 * SECOND, toNs: 60 * SECOND },
    ],
    60 * SECOND,
  );
  expect(gaps).toEqual([episode("away", "lounge", 10, 14)]);
});

const incident = (atS: number): ReportIncident => ({
  kind: "loss",
  fromMs: atS * 1000,
  toMs: atS * 1000 + 500,
  streams: ["board"],
  agents: ["kiosk-1"],
  suspects: [],
  count: 1,
  title: "",
});
const NIGHT_NS = 8 * 3600 * SECOND;
const START_MS = Date.UTC(2026, 0, 1, 22);

test("findPatterns: given an incident at five past every hour, then that is said, with the minute", () => {
  const hours = Array.from({ length: 8 }, (_, hour) => incident(hour * 3600 + 300));
  const [pattern, ...more] = findPatterns(hours, [], NIGHT_NS, START_MS);
  expect(pattern?.sentence).toBe("Incidents repeat every full hour, at 05:00 past it.");
  expect(more).toEqual([]);
});

test("findPatterns: given incidents that begin with the last packet before every full hour, then they are on the hour, not at 59:59", () => {
  const hours = Array.from({ length: 8 }, (_, hour) => incident((hour + 1) * 3600 - 0.1));
  const sentences = findPatterns(hours, [], NIGHT_NS, START_MS).map(({ sentence }) => sentence);
  expect(sentences).toEqual(["Incidents repeat every full hour."]);
});

test("findPatterns: given large incidents every hour among many single losses at any time, then the large ones are told by themselves", () => {
  const hours = Array.from({ length: 8 }, (_, hour) => ({ ...incident(hour * 3600 + 300), count: 2000 }));
  const random = seededRandom(5);
  const singles = Array.from({ length: 60 }, () => incident(Math.floor(random() * 8 * 3600)));
  const sentences = findPatterns([...hours, ...singles], [], NIGHT_NS, START_MS).map(({ sentence }) => sentence);
  expect(sentences).toEqual(["The 8 largest incidents repeat every full hour, at 05:00 past it."]);
});

test("findPatterns: given an incident with every second query, then both the period and the queries are named", () => {
  const queries = Array.from({ length: 230 }, (_, i) => episode("query", "kiosk-1", 7 + i * 125, 7 + i * 125, 1));
  const every = Array.from({ length: 115 }, (_, i) => incident(7 + i * 250));
  const sentences = findPatterns(every, queries, NIGHT_NS, START_MS).map(({ sentence }) => sentence);
  expect(sentences[0]).toContain("4.17 min"); // 250 s
  expect(sentences[1]).toContain("115 of 115 incidents begin together with a query");
});

test("diskNeed: given a longer night, then it grows by what a minute's row takes, not by what a second's report takes", () => {
  const need = diskNeed(RUN, DEFAULT_RETENTION);
  const twice = diskNeed({ ...RUN, endNs: 2 * RUN.endNs }, DEFAULT_RETENTION);
  expect(twice.controllerBytes).toBeLessThan(2 * need.controllerBytes);
  expect(twice.agentBytes).toBeGreaterThan(1.9 * need.agentBytes);
});
