import { Fault, type RunReport } from "@dyetrace/wire";
import { pino } from "pino";
import { expect, test } from "vitest";
import type { RunHolds } from "../estate/run-holds.ts";
import { openStore } from "../store/store.ts";
import { finishRun } from "./keep-run.ts";
import { LateWrites } from "./late-writes.ts";

const RUN = "00000000000000aa";
const LOG = pino({ level: "silent" });
const FULL = Object.assign(new Error("database or disk is full"), { code: "SQLITE_FULL" });
const REPORT = {
  run: RUN,
  verdict: "pass",
  notes: [],
  startedAt: "2026-01-01T00:00:00Z",
  endedAt: "2026-01-01T00:01:00Z",
};

const HOLDS = { leaseOf: () => null, drop: () => {} } as unknown as RunHolds;

async function newStore() {
  const store = await openStore({ kind: "memory" });
  const file = { file: "f.yaml", text: "" };
  const facts = { site: "Quillfen", scenario: "s", request: { site: file, scenario: file }, endNs: 1, startAtMs: null };
  await store.runs.add({ runId: RUN, ...facts, programVersion: "0", owner: "o" });
  return store;
}

test("finishRun: given a disk that is full at the end of a run, then the report is handed over, and stored once there is room", async () => {
  await using store = await newStore();
  await using late = new LateWrites(store, LOG, 20);
  const done = store.runs.done.bind(store.runs);
  let refusals = 0;
  store.runs.done = (report) => (refusals++ < 3 ? Promise.reject(FULL) : done(report));
  const job = finishRun({ store, late, holds: HOLDS }, RUN, async () => REPORT as unknown as RunReport);
  const report = await job(new AbortController().signal, () => undefined);
  expect(report.notes).toEqual([expect.stringMatching(/could not be stored yet: .*disk of the store .* is full/)]);
  await expect.poll(async () => (await store.runs.get(RUN)).state, { timeout: 10_000 }).toBe("done");
  expect((await store.runs.get(RUN)).report?.notes).toEqual([]);
});

test("finishRun: given a disk that is full when a run fails, then that is stored later too, and once more as the controller ends", async () => {
  await using store = await newStore();
  const late = new LateWrites(store, LOG, 1e9);
  const failed = store.runs.failed.bind(store.runs);
  store.runs.failed = () => Promise.reject(FULL);
  const job = finishRun({ store, late, holds: HOLDS }, RUN, () =>
    Promise.reject(new Fault("AGENT_LOST", "kiosk was lost", "")),
  );
  await expect(job(new AbortController().signal, () => undefined)).rejects.toThrow("kiosk was lost");
  expect((await store.runs.get(RUN)).state).toBe("running");
  store.runs.failed = failed;
  await late[Symbol.asyncDispose]();
  expect((await store.runs.get(RUN)).failure).toMatchObject({ code: "AGENT_LOST" });
});

test("LateWrites: given a later write of the same run that succeeds, then the earlier one that failed is never made up for", async () => {
  await using store = await newStore();
  await using late = new LateWrites(store, LOG, 20);
  const written: string[] = [];
  let isFull = true;
  const write = (what: string) => async (): Promise<void> => {
    if (isFull) throw FULL;
    written.push(what);
  };
  expect(await late.write(RUN, write("started"))).toBeInstanceOf(Fault);
  isFull = false;
  expect(await late.write(RUN, write("done"))).toBeNull();
  await new Promise((resolve) => setTimeout(resolve, 100));
  expect(written).toEqual(["done"]);
});
