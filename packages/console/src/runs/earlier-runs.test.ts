import type { RunSummary } from "@dyetrace/wire/console/stored-run";
import { expect, test } from "vitest";
import { earlierRunsOf } from "./earlier-runs.ts";

const run = (runId: string, parts: Partial<RunSummary> = {}): RunSummary => ({
  ...{ runId, state: "done", site: "Quillfen", scenario: "reach", verdict: "pass" },
  ...{ createdAt: "2026-11-29T10:00:00Z", startAt: null, startedAt: null, endedAt: null },
  ...{ baselines: [], tags: [], note: null, failure: null },
  ...parts,
});

test("earlierRunsOf: given runs of other scenarios and sites, then the one before is of the same, and names are offered", () => {
  const newest = run("e");
  const runs = [
    newest,
    run("d", { scenario: "soak" }),
    run("c", { site: "Elsewhere" }),
    run("b", { state: "failed" }),
    run("a"),
    run("0", { baselines: ["before-upgrade"] }),
  ];
  expect(earlierRunsOf(newest, runs)).toEqual([
    { runId: "a", called: "the one before" },
    { runId: "0", called: "before-upgrade" },
  ]);
});

test("earlierRunsOf: given a run that is not over, or has none before it, then nothing", () => {
  expect(earlierRunsOf(run("x", { state: "scheduled" }), [run("x", { state: "scheduled" }), run("y")])).toEqual([]);
  expect(earlierRunsOf(run("y"), [run("x"), run("y")])).toEqual([]);
});
