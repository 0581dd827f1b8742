import { readFileSync } from "node:fs";
import { gunzipSync } from "node:zlib";
import { loadSitePlan } from "@dyetrace/site";
import type { RunReport } from "@dyetrace/wire";
import { describe, expect, test } from "vitest";
import { compareRuns } from "../../controller/src/compare/compare-runs.ts";
import { UPGRADE_CHANGES, UPGRADE_PLAN, type UpgradeRecording } from "../field/support/upgrade-site.ts";

const RECORDING = new URL("../field/recordings/upgrade.json.gz", import.meta.url);

/** 21 runs on one practice site, and three after each change, made by tests/field/compare-runs.test.ts on a busy machine. */
describe("recorded runs of a practice site", () => {
  const graph = loadSitePlan(UPGRADE_PLAN, "plan.yaml");
  const { same, changed } = JSON.parse(
    gunzipSync(readFileSync(RECORDING)).toString("utf8"),
  ) as UpgradeRecording<RunReport>;
  const pairs = same.slice(1).map((after, index) => [after, same[index]] as const);

  test("given twenty pairs of the same site, then they say that nothing changed, with one false alarm at most", () => {
    const outcomes = pairs.map(([after, before]) => {
      if (before === undefined) throw new Error("a pair lacks its earlier run");
      return compareRuns(after, before, graph).outcome;
    });
    expect(outcomes).toHaveLength(20);
    expect(outcomes.filter((outcome) => outcome === "worse" || outcome === "better").length).toBeLessThanOrEqual(1);
    expect(outcomes.filter((outcome) => outcome === "same").length).toBeGreaterThanOrEqual(18);
  });

  for (const [index, { name, holds }] of UPGRADE_CHANGES.entries()) {
    test(`given ${name}, then every run after it is worse than every run before it, with the place`, () => {
      const after = changed[index];
      expect(after?.name).toBe(name);
      expect(after?.runs).toHaveLength(3);
      for (const run of after?.runs ?? []) for (const before of same) holds(compareRuns(run, before, graph));
    });
  }
});
