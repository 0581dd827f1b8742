import { execFileSync } from "node:child_process";
import { mkdtempSync, readFileSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import path from "node:path";
import type { Night } from "@dyetrace/wire";
import { expect, test } from "vitest";
import { auditLinesOf, evidenceFiles } from "../../controller/src/evidence/evidence-files.ts";
import { packEvidence } from "../../controller/src/evidence/evidence-pack.ts";
import type { RunRecord } from "../../controller/src/store/run-record.ts";
import { recorded } from "../browser/support/recorded.ts";

const { plan, report } = recorded("outages");
const RECORD = {
  runId: report.run,
  state: "done",
  createdAt: report.startedAt,
  startedAt: report.startedAt,
  endedAt: report.endedAt,
  request: {
    site: { file: "quillfen.yaml", text: plan },
    scenario: { file: "reach.yaml", text: "scenario: reach\n" },
    parameters: { source: "tower" },
  },
  report,
} as unknown as RunRecord;
const LINES = ['{"at":"2026-11-29T00:00:00.000Z","who":"ops","from":"","what":"saved the site plan"}'];

test("packEvidence: given a run, then an independent reader finds its files, and an independent program finds their sums right", () => {
  const pack = packEvidence({
    record: RECORD,
    report,
    probes: [],
    story: null,
    night: null,
    auditLines: LINES,
    headers: null,
  });
  const folder = mkdtempSync(path.join(tmpdir(), "dyetrace-evidence-"));
  try {
    writeFileSync(path.join(folder, "pack.zip"), pack.zip);
    // Python's own zipfile reads it, and GNU coreutils' sha256sum checks the sums.
    execFileSync("python3", ["-m", "zipfile", "-e", path.join(folder, "pack.zip"), folder]);
    const inside = path.join(folder, `dyetrace-${report.run}`);
    const said = execFileSync("sha256sum", ["--strict", "-c", "SHA256SUMS"], { cwd: inside, encoding: "utf8" });
    expect(said.trim().split("\n")).toHaveLength(pack.files.length);
    const read = (name: string): string => readFileSync(path.join(inside, name), "utf8");
    expect(JSON.parse(read("report.json")).run).toBe(report.run);
    expect(read("site-plan.yaml")).toBe(plan);
    expect(read("report.html")).toContain(report.site);
    expect(read("audit.jsonl")).toBe(`${LINES[0]}\n`);
    expect(JSON.parse(read("request.json")).parameters).toEqual({ source: "tower" });
    for (const { name } of pack.files) if (name !== "README.txt") expect(read("README.txt")).toContain(`${name}: `);
  } finally {
    rmSync(folder, { recursive: true });
  }
});

test("packEvidence: given a host whose clock was never set, or far ahead, then there is an archive all the same", () => {
  const parts = { record: RECORD, probes: [], story: null, night: null, auditLines: LINES, headers: null };
  for (const endedAt of ["1970-01-01T00:00:09.000Z", "2186-01-01T00:00:00.000Z"]) {
    const { zip } = packEvidence({ ...parts, report: { ...report, endedAt } });
    expect(new TextDecoder().decode(zip.slice(0, 2))).toBe("PK"); // APPNOTE 6.3, 4.3.7
  }
});

test("evidenceFiles: given a run so long that it has a night, then the page begins with it, and it is there for programs", () => {
  const night: Night = {
    ...{ formatVersion: 1, runId: report.run, site: report.site, scenario: "soak", startedAt: report.startedAt },
    ...{ untilMs: 8 * 3600e3, isOver: true, headline: "One thing happened.", received: 1, lost: 0, hostLost: 0 },
    ...{ cellMs: 300e3, listeners: [], strips: [], worst: [], incidents: [], patterns: [], unwatched: [] },
    summarised: [],
  };
  const files = evidenceFiles({
    record: RECORD,
    report,
    probes: [],
    story: null,
    night,
    auditLines: [],
    headers: null,
  });
  expect(files.get("report.html")).toContain("<strong>One thing happened.</strong>");
  expect(JSON.parse(String(files.get("night.json")))).toEqual(night);
  expect(files.get("README.txt")).toContain("night.json: what happened");
});

test("auditLinesOf: given a log, then what was done during the run, a minute around it, and to it later", () => {
  const line = (atMs: number, what: string): string => JSON.stringify({ at: new Date(atMs).toISOString(), what });
  const [from, to] = [Date.parse(report.startedAt), Date.parse(report.endedAt)];
  const log = [
    line(from - 61_000, "too early"),
    line(from - 59_000, "just before"),
    line(to + 59_000, "just after"),
    line(to + 3_600_000, `named run ${report.run} baseline:x`),
    line(to + 3_600_000, "too late"),
  ];
  expect(auditLinesOf(log, RECORD)).toEqual(log.slice(1, 4));
});
