import { buildSiteGraph, type SiteLink, type SiteNode } from "@dyetrace/site";
import type { RunReport } from "@dyetrace/wire";
import { expect, test } from "vitest";
import { hangUp, type SiteTree } from "../layout/site-tree.ts";
import { type Channel, type ChannelWater, channelWaters } from "./channel-water.ts";
import { type FindingMark, findingMarks } from "./finding-marks.ts";
import type { HostWater } from "./host-water.ts";

function site(): SiteTree {
  const nodes = ["tower", "core", "pier"].map(
    (name): SiteNode => ({ name, kind: name === "tower" ? "host" : "switch", isQuerier: false, agent: null }),
  );
  const links: SiteLink[] = [
    { index: 0, a: { node: "core", port: "9" }, b: { node: "tower", port: "eth0" }, speedBps: null },
    { index: 1, a: { node: "core", port: "1" }, b: { node: "pier", port: "24" }, speedBps: null },
  ];
  const tree = hangUp(buildSiteGraph("site", nodes, links), "tower");
  if (tree === null) throw new Error("no tree");
  return tree;
}

type Finding = RunReport["findings"][number];
const reportWith = (...findings: readonly Partial<Finding>[]): RunReport =>
  ({
    findings: findings.map((finding) => ({
      kind: "stops",
      streams: ["board"],
      suspects: [],
      confidence: 0.9,
      title: "",
      evidence: [],
      advice: "",
      reference: "",
      ...finding,
    })),
  }) as unknown as RunReport;
const BOARD = new Set(["board"]);
const water = (of: ChannelWater): Channel => ({ water: of, isFirst: false, isWayUnknown: false });
/** Nothing comes to the pier. */
const DRY_PIER = new Map([
  ["tower", water("flows")],
  ["core", water("flows")],
  ["pier", water("dry")],
]);
const marksOf = (report: RunReport): readonly FindingMark[] => findingMarks(report, BOARD, site(), DRY_PIER);

test("findingMarks: given the way up is named before the way down, then the flag stands on the channel that runs down", () => {
  const report = reportWith({ suspects: ["pier:24>core:1", "pier", "core:1>pier:24"] });
  const [mark] = marksOf(report);
  expect(mark).toMatchObject({ glyph: "stop", word: "STOPS", node: "pier", on: "channel" });
  expect(mark?.suspects).toHaveLength(3);
});

test("findingMarks: given only a node is suspected, then the flag stands on it", () => {
  const [mark] = marksOf(reportWith({ suspects: ["core"] }));
  expect(mark).toMatchObject({ node: "core", on: "node" });
});

test("findingMarks: given a finding about another stream, or one that names no place of this tree, then nothing is marked", () => {
  expect(marksOf(reportWith({ streams: ["other"], suspects: ["core"] }))).toEqual([]);
  expect(marksOf(reportWith({ suspects: ["elsewhere"] }))).toEqual([]);
  expect(marksOf(reportWith({ suspects: [] }))).toEqual([]);
});

test("findingMarks: given a kind of finding that this page does not know, then it is drawn as a doubt and nothing worse", () => {
  // As a report that another version stored, which no compiler has seen.
  const stored = { ...reportWith({ suspects: ["core"] }).findings[0], kind: "something-new" } as unknown as Finding;
  const [mark] = marksOf(reportWith(stored));
  expect(mark).toMatchObject({ glyph: "doubt", word: "SOMETHING NEW" });
});

test("findingMarks: given several findings, then each keeps its position in the report", () => {
  const report = reportWith({ streams: ["other"], suspects: ["core"] }, { kind: "loses", suspects: ["pier"] });
  expect(marksOf(report).map(({ index, glyph }) => [index, glyph])).toEqual([[1, "thin"]]);
});

/** tower - core - east (e1, e2), core - west (w1) */
function branches(hosts: Readonly<Record<string, HostWater>>) {
  const kinds = {
    tower: "host",
    core: "switch",
    east: "switch",
    west: "switch",
    e1: "host",
    e2: "host",
    w1: "host",
  } as const;
  const nodes = Object.entries(kinds).map(([name, kind]): SiteNode => ({ name, kind, isQuerier: false, agent: null }));
  const pairs = ["tower core", "core east", "core west", "east e1", "east e2", "west w1"].map((pair) =>
    pair.split(" "),
  );
  const links = pairs.map(
    ([a = "", b = ""], index): SiteLink => ({
      index,
      a: { node: a, port: `${index}` },
      b: { node: b, port: "up" },
      speedBps: null,
    }),
  );
  const tree = hangUp(buildSiteGraph("site", nodes, links), "tower");
  if (tree === null) throw new Error("no tree");
  const channels = channelWaters(
    tree,
    ({ node }) => hosts[node.name] ?? (node.name === "tower" ? { kind: "source" } : null),
  );
  return (suspects: readonly string[]) =>
    findingMarks(reportWith({ suspects: [...suspects] }), BOARD, tree, channels).map(({ drawnOn, carrying }) => ({
      drawnOn,
      carrying,
    }))[0];
}
const WHOLE: HostWater = { kind: "whole" };
const DRY: HostWater = { kind: "dry" };

test("findingMarks: given a suspected channel that others get everything through, then the bar stands where the water ends and not in front of a full switch", () => {
  const marks = branches({ e1: DRY, e2: WHOLE, w1: WHOLE });
  expect(marks(["core:1>east:up"])).toEqual({ drawnOn: ["e1"], carrying: [] });
});

test("findingMarks: given a suspected switch with one dry branch, then the bar stands on that branch", () => {
  const marks = branches({ e1: DRY, e2: DRY, w1: WHOLE });
  expect(marks(["core"])).toEqual({ drawnOn: ["east"], carrying: [] });
});

test("findingMarks: given everything below is dry and only a channel further down is suspected, then the water is drawn as far as the bar", () => {
  const marks = branches({ e1: DRY, e2: DRY, w1: WHOLE });
  expect(marks(["east:3>e1:up"])).toEqual({ drawnOn: ["e1"], carrying: ["east"] });
  expect(marks(["east:3>e1:up", "core:1>east:up"])).toEqual({ drawnOn: ["east"], carrying: [] });
});

test("findingMarks: given a host is suspected, then no channel is barred for it", () => {
  const marks = branches({ e1: { kind: "blocked" }, e2: WHOLE, w1: WHOLE });
  expect(marks(["e1"])).toEqual({ drawnOn: [], carrying: [] });
});
