import { spawnSync } from "node:child_process";
import { mkdtempSync, readFileSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import path from "node:path";
import { fileURLToPath, pathToFileURL } from "node:url";
import { loadSitePlan } from "@dyetrace/site";
import { Ajv } from "ajv";
import { XMLParser, XMLValidator } from "fast-xml-parser";
import { afterAll, beforeAll, describe, expect, test } from "vitest";

const PROGRAM = fileURLToPath(new URL("../../controller/bin/dyetrace.mjs", import.meta.url));
const demo = (name: string): string => fileURLToPath(new URL(`../../packages/practice/demo/${name}`, import.meta.url));

/** The files of one run with a fault in it, as a user gets them, each held to an independent reader of its format. */
describe("report files of a stored run", () => {
  let folder = "";
  const file = (name: string): string => path.join(folder, name);
  const text = (name: string): string => readFileSync(file(name), "utf8");
  const dyetrace = (...args: string[]) =>
    spawnSync(process.execPath, [PROGRAM, ...args], { encoding: "utf8", timeout: 120_000 });
  beforeAll(() => {
    folder = mkdtempSync(path.join(tmpdir(), "dyetrace-files-"));
    const data = file("data");
    const files = ["--fault", demo("fault-pier-east.yaml"), "--junit", file("run.xml"), "--json", file("run.json")];
    const run = dyetrace("practice", "run", demo("quillfen.yaml"), demo("reach.yaml"), "--data", data, ...files);
    expect([run.status, run.stderr]).toEqual([1, run.stderr]); // fail: the fault was found
    const outputs = [
      "--html",
      "a.html",
      "--json",
      "a.json",
      "--junit",
      "a.xml",
      "--csv",
      "a.csv",
      "--gaps-csv",
      "g.csv",
    ];
    const named = outputs.map((part) => (part.startsWith("--") ? part : file(part)));
    const report = dyetrace("report", "last", "--data", data, ...named);
    expect([report.status, report.stderr]).toEqual([0, ""]);
  }, 240_000);
  afterAll(() => rmSync(folder, { recursive: true, force: true }));

  test("JSON: given the published schema, then an independent validator accepts the report, and refuses one that is not as it says", () => {
    const schema = JSON.parse(dyetrace("schema").stdout) as object;
    const validate = new Ajv({ strict: false, allErrors: true }).compile(schema);
    const report = JSON.parse(text("a.json")) as Record<string, unknown>;
    expect([validate(report), validate.errors]).toEqual([true, null]);
    expect(JSON.parse(text("run.json"))).toEqual(report);
    expect(validate({ ...report, verdict: "perhaps" })).toBe(false);
    const { receipts: _left, ...without } = report;
    expect(validate(without)).toBe(false);
  });

  test("JUnit: given the report, then it is well-formed XML whose counts are those of its cases", () => {
    for (const name of ["a.xml", "run.xml"]) {
      expect(XMLValidator.validate(text(name))).toBe(true);
      const document = new XMLParser({ ignoreAttributes: false, isArray: (tag) => tag === "testcase" }).parse(
        text(name),
      );
      const suites = document.testsuites.testsuite as Record<string, unknown>[];
      const cases = suites.flatMap((suite) => suite["testcase"] as Record<string, unknown>[]);
      expect(Number(document.testsuites["@_tests"])).toBe(cases.length);
      expect(Number(document.testsuites["@_failures"])).toBe(cases.filter((one) => "failure" in one).length);
      expect(cases.find((one) => one["@_name"] === "verdict")).toHaveProperty("failure");
    }
  });

  test("CSV: given the receipts, then a line each, and unknown is empty", () => {
    const [head, ...rows] = text("a.csv")
      .trimEnd()
      .split("\r\n")
      .map((line) => line.split(","));
    expect(rows).toHaveLength(9);
    for (const row of rows) expect(row).toHaveLength(head?.length ?? 0);
    const silent = rows.find((row) => row[1] === "kiosk-1");
    expect(silent?.[head?.indexOf("received") ?? -1]).toBe("0");
    expect(silent?.[head?.indexOf("jitter_ms") ?? -1]).toBe("");
  });

  test("HTML: given the page in a browser, then it shows verdict, finding and map, fetches nothing, and prints on paper", () => {
    const page = text("a.html");
    expect(page).not.toMatch(/<script|src=|@import|url\((?!#)/); // patterns of the drawing itself stand within the page
    const url = pathToFileURL(file("a.html")).href;
    const chromium = (...args: string[]) =>
      spawnSync(
        "chromium",
        ["--headless", "--no-sandbox", "--disable-gpu", `--user-data-dir=${file("profile")}`, ...args, url],
        { encoding: "utf8", timeout: 60_000 },
      );
    const { stdout } = chromium("--dump-dom");
    expect(stdout).toContain("Quillfen Ferry Terminal");
    expect(stdout).toMatch(/class="verdict fail"[^>]*>Fail</);
    expect(stdout).toContain("core:1&gt;pier-east:24");
    const written = new Set([...stdout.matchAll(/<text[^>]*>([^<]*)</g)].map(([, words]) => words));
    const plan = loadSitePlan(readFileSync(demo("quillfen.yaml"), "utf8"), "quillfen.yaml");
    for (const name of plan.nodes.keys()) expect(written).toContain(name); // every node of the plan is on the map
    expect(stdout).toMatch(/data-channel="pier-east[^"]*"[^>]* data-mark="/);
    chromium(`--print-to-pdf=${file("a.pdf")}`, "--no-pdf-header-footer");
    const pdf = readFileSync(file("a.pdf"), "latin1");
    expect(pdf.startsWith("%PDF-")).toBe(true);
    expect(pdf.match(/\/Type\s*\/Page\b(?!s)/g)?.length).toBeGreaterThanOrEqual(1);
  });
});
