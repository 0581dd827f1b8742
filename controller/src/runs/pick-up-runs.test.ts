import pino from "pino";
import { afterEach, expect, test, vi } from "vitest";
import type { RunRecord } from "../store/run-record.ts";
import type { ContinueSurroundings } from "./continue-run.ts";
import { pickUpRuns } from "./pick-up-runs.ts";

/** A store of several controllers, as far as runs are taken over by it; a run that never began ends as failed when it is. */
function standIn(heartbeats: Readonly<Record<string, number>>, isPrivate = false) {
  const records = new Map(
    Object.entries(heartbeats).map(([runId, heartbeatMs]) => [
      runId,
      {
        runId,
        state: "running",
        heartbeatMs,
        start: null,
        compiled: null,
        endNs: 0,
        owner: "other",
      } as unknown as RunRecord,
    ]),
  );
  const ended: string[] = [];
  const runs = {
    unfinished: async () => [...records.values()],
    find: async (runId: string) => records.get(runId) ?? null,
    takeOver: async (run: RunRecord) => records.get(run.runId)?.heartbeatMs === run.heartbeatMs,
    heartbeat: async () => {},
    failed: async (runId: string) => {
      ended.push(runId);
      records.delete(runId);
    },
  };
  const surroundings = {
    store: { isPrivate, runs, fault: (error: unknown) => error },
    runs: { untilIdle: async () => {} },
    late: { write: (_: string, work: () => Promise<void>) => work() },
    log: pino({ level: "silent" }),
  } as unknown as ContinueSurroundings;
  const beat = (runId: string, heartbeatMs: number): void => {
    const record = records.get(runId);
    if (record !== undefined) records.set(runId, { ...record, heartbeatMs });
  };
  return { surroundings, ended, beat };
}

afterEach(() => vi.useRealTimers());

const LOOK_MS = 5;
const setClock = (atMs: number): unknown => vi.useFakeTimers({ now: atMs, toFake: ["Date"] });
const severalLooks = (): Promise<void> => new Promise((resolve) => setTimeout(resolve, 20 * LOOK_MS));

test("pickUpRuns: given a restart that is quicker than a controller counts as gone, then the run is taken up once it does", async () => {
  setClock(100_000);
  const { surroundings, ended } = standIn({ a: 97_000 });
  using picked = await pickUpRuns(surroundings, true, LOOK_MS);
  await severalLooks();
  expect([picked.isWaiting("a"), ended]).toEqual([true, []]);
  setClock(107_500);
  await expect.poll(() => ended).toEqual(["a"]);
  expect(picked.isWaiting("a")).toBe(false);
});

test("pickUpRuns: given a run that another controller goes on conducting, then it is left to it, and others are taken up meanwhile", async () => {
  setClock(100_000);
  const { surroundings, ended, beat } = standIn({ alive: 99_000, gone: 10_000 });
  using picked = await pickUpRuns(surroundings, true, LOOK_MS);
  beat("alive", 119_000);
  setClock(120_000);
  await severalLooks();
  expect([ended, picked.isWaiting("alive"), picked.isWaiting("gone")]).toEqual([["gone"], true, false]);
});

test("pickUpRuns: given a store of this controller alone, then an unfinished run is taken up at once, however lately it was conducted", async () => {
  setClock(100_000);
  const { surroundings, ended } = standIn({ a: 99_999 }, true);
  using _picked = await pickUpRuns(surroundings, true);
  expect(ended).toEqual(["a"]);
});
