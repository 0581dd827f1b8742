import { spawnSync } from "node:child_process";
import { mkdtempSync, readFileSync, rmSync, statSync } from "node:fs";
import { tmpdir } from "node:os";
import path from "node:path";
import { fileURLToPath } from "node:url";
import { gunzipSync } from "node:zlib";
import type { RunReport } from "@dyetrace/wire";
import { XMLParser, XMLValidator } from "fast-xml-parser";
import { afterAll, beforeAll, describe, expect, test } from "vitest";
import { openStore } from "../../controller/src/store/store.ts";
import { UPGRADE_PLAN, UPGRADE_SCENARIO, type UpgradeRecording } from "./support/upgrade-site.ts";

const PROGRAM = fileURLToPath(new URL("../../controller/bin/dyetrace.mjs", import.meta.url));
const RECORDING = new URL("./recordings/upgrade.json.gz", import.meta.url);

describe("dyetrace compare on a store with recorded runs", () => {
  const { same, changed } = JSON.parse(
    gunzipSync(readFileSync(RECORDING)).toString("utf8"),
  ) as UpgradeRecording<RunReport>;
  const [before, again] = same.map(({ run }) => run);
  const after = changed[0]?.runs[0]?.run ?? "";
  const elsewhere = "00000000000000aa";
  const silent = "00000000000000bb";
  let folder = "";
  const dyetrace = (...args: string[]): { readonly code: number | null; readonly words: string } => {
    const { status, stdout, stderr } = spawnSync(process.execPath, [PROGRAM, ...args, "--data", folder], {
      encoding: "utf8",
      timeout: 60_000,
    });
    return { code: status, words: `${stdout}${stderr}` };
  };

  beforeAll(async () => {
    folder = mkdtempSync(path.join(tmpdir(), "dyetrace-compare-"));
    await using store = await openStore({ kind: "folder", folder });
    const keep = async (report: RunReport, scenario = UPGRADE_SCENARIO): Promise<void> => {
      const request = {
        site: { file: "plan.yaml", text: UPGRADE_PLAN },
        scenario: { file: "upgrade.yaml", text: scenario },
      };
      const facts = { site: report.site, scenario: report.scenario, request, endNs: 34e9, startAtMs: null };
      await store.runs.add({ runId: report.run, ...facts, programVersion: "0", owner: "test" });
      await store.runs.done(report);
    };
    const [first, second] = same;
    const slow = changed[0]?.runs[0];
    if (first === undefined || second === undefined || slow === undefined) throw new Error("the recording lacks runs");
    for (const report of [first, second, slow]) await keep(report);
    await keep({ ...second, run: elsewhere }, UPGRADE_SCENARIO.replace("rate: 320 kbit/s", "rate: 160 kbit/s"));
    await keep({
      ...second,
      run: silent,
      receipts: second.receipts.map((one) => ({ ...one, sent: null, received: null, lost: null, lossRatio: null })),
    });
  });
  afterAll(() => rmSync(folder, { recursive: true, force: true }));

  test("given --json, then what confirms a change is JSON as well, and nothing else", () => {
    const told = (...args: string[]): unknown => JSON.parse(dyetrace(...args, "--json").words);
    const run = before ?? "";
    expect(told("baseline", run, "spring")).toEqual({ run, name: "spring" });
    expect(told("baseline", "remove", "spring")).toEqual({ removed: "spring" });
    expect(told("runs", "note", run, "old", "cable")).toEqual({ run });
    const file = path.join(folder, "copy.sqlite");
    expect(told("backup", file)).toEqual({ file, sizeBytes: statSync(file).size });
  });

  test("given the same site twice, then exit code 0 and `same`", () => {
    const { code, words } = dyetrace("compare", again ?? "", "--against", before ?? "");
    expect([code, words]).toEqual([0, expect.stringMatching(/^\nsame: run/)]);
  });

  test("given a run after the change and a named baseline, then exit code 1, the switch is named, and JUnit tells what failed", () => {
    expect(dyetrace("baseline", before ?? "", "core-fw-before").code).toBe(0);
    const junit = path.join(folder, "compare.xml");
    const { code, words } = dyetrace("compare", after, "--against", "baseline:core-fw-before", "--junit", junit);
    expect(code).toBe(1);
    expect(words).toMatch(/WORSE {2}leave delay of zap/);
    expect(words).toContain("core:1>east:24, east");
    const xml = readFileSync(junit, "utf8");
    expect(XMLValidator.validate(xml)).toBe(true);
    const { testsuites } = new XMLParser({ ignoreAttributes: false }).parse(xml);
    expect(Number(testsuites["@_failures"])).toBeGreaterThan(0);
  });

  test("given runs of different scenarios, then exit code 2 and what differs; told to, it compares and notes the difference", () => {
    const refused = dyetrace("compare", elsewhere, "--against", before ?? "");
    expect([refused.code, refused.words]).toEqual([2, expect.stringContaining("no pair")]);
    expect(refused.words).toMatch(/only the earlier scenario has stream zap .*320 kbit\/s/);
    const anyway = dyetrace("compare", elsewhere, "--against", before ?? "", "--anyway");
    expect([anyway.code, anyway.words]).toEqual([0, expect.stringContaining("Note: Only the earlier scenario has")]);
  });

  test("given a run that does not say what was lost, then exit code 3; given a name that nobody gave, then exit code 2", () => {
    expect(dyetrace("compare", silent, "--against", before ?? "").code).toBe(3);
    const unknown = dyetrace("compare", after, "--against", "baseline:core-fw-after");
    expect([unknown.code, unknown.words]).toEqual([2, expect.stringContaining("No run is named core-fw-after")]);
  });
});
