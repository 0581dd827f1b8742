import { buildSiteGraph, type SiteLink, type SiteNode } from "@dyetrace/site";
import type { RunReport } from "@dyetrace/wire";
import { expect, test } from "vitest";
import { findingMarks } from "./finding-marks.ts";
import { hangUp, type SiteTree } from "./layout/site-tree.ts";

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

test("findingMarks: given the way up is named before the way down, then the flag stands on the channel that runs down", () => {
  const report = reportWith({ suspects: ["pier:24>core:1", "pier", "core:1>pier:24"] });
  const [mark] = findingMarks(report, BOARD, site());
  expect(mark).toMatchObject({ glyph: "stop", word: "STOPS", node: "pier", on: "channel" });
  expect(mark?.suspects).toHaveLength(3);
});

test("findingMarks: given only a node is suspected, then the flag stands on it", () => {
  const [mark] = findingMarks(reportWith({ suspects: ["core"] }), BOARD, site());
  expect(mark).toMatchObject({ node: "core", on: "node" });
});

test("findingMarks: given a finding about another stream, or one that names no place of this tree, then nothing is marked", () => {
  expect(findingMarks(reportWith({ streams: ["other"], suspects: ["core"] }), BOARD, site())).toEqual([]);
  expect(findingMarks(reportWith({ suspects: ["elsewhere"] }), BOARD, site())).toEqual([]);
  expect(findingMarks(reportWith({ suspects: [] }), BOARD, site())).toEqual([]);
});

test("findingMarks: given a kind of finding that this page does not know, then it is drawn as a doubt and nothing worse", () => {
  // As a report that another version stored, which no compiler has seen.
  const stored = { ...reportWith({ suspects: ["core"] }).findings[0], kind: "something-new" } as unknown as Finding;
  const [mark] = findingMarks(reportWith(stored), BOARD, site());
  expect(mark).toMatchObject({ glyph: "doubt", word: "SOMETHING NEW" });
});

test("findingMarks: given several findings, then each keeps its position in the report", () => {
  const report = reportWith({ streams: ["other"], suspects: ["core"] }, { kind: "loses", suspects: ["pier"] });
  expect(findingMarks(report, BOARD, site()).map(({ index, glyph }) => [index, glyph])).toEqual([[1, "thin"]]);
});
