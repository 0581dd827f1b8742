import pino from "pino";
import { expect, test } from "vitest";
import type { RunRecord } from "../store/run-record.ts";
import type { ContinueSurroundings } from "./continue-run.ts";
import { pickUpRuns } from "./pick-up-runs.ts";

/** A store of one controller, as far as runs are taken up by it; a run that never began ends as failed when it is. */
function standIn(heartbeats: Readonly<Record<string, number>>) {
  const records = new Map(
    Object.entries(heartbeats).map(([runId, heartbeatMs]) => [
      runId,
      { runId, state: "running", heartbeatMs, start: null, compiled: null, endNs: 0 } as unknown as RunRecord,
    ]),
  );
  const ended: string[] = [];
  const runs = {
    unfinished: async () => [...records.values()],
    failed: async (runId: string) => {
      ended.push(runId);
      records.delete(runId);
    },
  };
  const surroundings = {
    store: { isPrivate: true, runs, leases: { takeOver: async () => 2 }, fault: (error: unknown) => error },
    holds: { hold: () => {}, drop: () => {}, leaseOf: () => null },
    runs: { untilIdle: async () => {} },
    late: { write: (_: string, work: () => Promise<void>) => work() },
    log: pino({ level: "silent" }),
  } as unknown as ContinueSurroundings;
  return { surroundings, ended };
}

test("pickUpRuns: given a store of this controller alone, then an unfinished run is taken up at once, however lately it was conducted", async () => {
  const { surroundings, ended } = standIn({ a: Date.now() });
  using _picked = await pickUpRuns(surroundings, true);
  expect(ended).toEqual(["a"]);
});
