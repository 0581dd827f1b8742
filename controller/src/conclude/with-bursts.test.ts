import type { ReportFinding, RunReport } from "@dyetrace/wire";
import { expect, test } from "vitest";
import { withBursts } from "./with-bursts.ts";

const finding = (suspects: string[], changes: Partial<ReportFinding> = {}): ReportFinding => ({
  ...{ kind: "stops", streams: ["board"], suspects, confidence: 0.9, title: `board stops at ${suspects[0]}` },
  ...{ evidence: [`${suspects[0]} it is.`], advice: "Look there.", reference: "none", ...changes },
});
const report = { findings: [finding(["a", "b", "c"])], notes: ["before"] } as unknown as RunReport;
const note = "A test burst was sent: 2000 packets of board.";

test("given a burst whose finding has fewer suspects, then those are left that both have, and the finding says where from", () => {
  const shown = { findings: [finding(["b", "d"], { confidence: 0.8 })] };
  const { findings, notes } = withBursts(report, { note, report: shown });
  expect(findings).toMatchObject([
    { suspects: ["b"], confidence: 0.78, title: "board stops at b (in the test burst)" },
  ]);
  expect(findings[0]?.evidence).toEqual(["Test burst: b it is.", "The run itself said: board stops at a."]);
  expect(notes).toEqual(["before", note]);
});

test.each([
  ["nothing was sent", null],
  ["nothing was found in it", { findings: [] }],
  ["it has other suspects", { findings: [finding(["x"])] }],
  ["it is about another stream", { findings: [finding(["b"], { streams: ["bell"] })] }],
  ["several of its findings fit", { findings: [finding(["b"]), finding(["c"])] }],
])("given a burst of which %s, then the run's suspects stand", (_, shown) => {
  const { findings, notes } = withBursts(report, { note, report: shown });
  expect(findings).toEqual(report.findings);
  expect(notes[1]).toMatch(/^A test burst was sent/);
});
