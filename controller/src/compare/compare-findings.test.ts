import type { FindingKind, ReportFinding, RunReport } from "@dyetrace/wire";
import { FINDING_KIND_NAMES, FINDING_KINDS } from "@dyetrace/wire";
import { expect, test } from "vitest";
import { compareFindings, notesOfFindings } from "./compare-findings.ts";

const finding = (kind: FindingKind, streams: string[], suspects: string[]): ReportFinding => ({
  kind,
  streams,
  suspects,
  confidence: 0.9,
  title: `${kind} of ${streams.join()}`,
  evidence: [],
  advice: "",
  reference: "",
});
const run = (...findings: readonly ReportFinding[]): RunReport => ({ findings }) as unknown as RunReport;
const outcomes = (before: RunReport, after: RunReport) =>
  compareFindings(before, after).map(({ what, outcome }) => [what, outcome]);

test("compareFindings: given a source that sends no longer, then worse; given it sends again, then better", () => {
  const silent = run(finding("source-not-sending", ["board"], ["tower"]));
  expect(outcomes(run(), silent)).toEqual([["source-not-sending", "worse"]]);
  expect(outcomes(silent, run())).toEqual([["source-not-sending", "better"]]);
  expect(outcomes(silent, silent)).toEqual([["source-not-sending", "same"]]);
});

test("compareFindings: given a source that sends one more stream no longer, then worse, although it lacked another before", () => {
  const board = finding("source-not-sending", ["board"], ["tower"]);
  const music = finding("source-not-sending", ["music"], ["tower"]);
  expect(outcomes(run(board), run(board, music))).toEqual([
    ["source-not-sending", "same"],
    ["source-not-sending", "worse"],
  ]);
});

test.each(FINDING_KIND_NAMES)("compareFindings: given %s in the later run alone, then what its table says", (kind) => {
  const after = run(finding(kind, ["board"], ["core"]));
  const { compared, label } = FINDING_KINDS[kind];
  expect(outcomes(run(), after)).toEqual(compared === "presence" ? [[kind, "worse"]] : []);
  expect(notesOfFindings(run(), after)).toEqual(
    compared === "note" ? [`Only the later run found ${label}: ${kind} of board.`] : [],
  );
});

test("notesOfFindings: given a busy host in the earlier run alone, then it is said of that run; given both, then nothing", () => {
  const busy = run(finding("host-side-loss", ["board"], ["kiosk"]));
  expect(notesOfFindings(busy, run())).toEqual(["Only the earlier run found host side loss: host-side-loss of board."]);
  expect(notesOfFindings(busy, busy)).toEqual([]);
});

test("compareFindings: given a kind of another version in a stored report, then it is noted and nothing more", () => {
  // As it comes out of the store, which no compiler has seen.
  const stored = run({ ...finding("stops", [], []), kind: "something-new" } as unknown as ReportFinding);
  expect(outcomes(stored, run())).toEqual([]);
  expect(notesOfFindings(stored, run())).toEqual(["Only the earlier run found something new: stops of ."]);
});
