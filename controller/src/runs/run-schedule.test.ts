import { Fault } from "@dyetrace/wire";
import { pino } from "pino";
import { afterEach, expect, test } from "vitest";
import type { RunRecord } from "../store/run-record.ts";
import type { RunShelf } from "./keep-run.ts";
import { RunSchedule, START_WITHIN_MS } from "./run-schedule.ts";

const HOUR_MS = 3_600_000;
const START_MS = Date.UTC(2026, 10, 25, 2);
const recordOf = (runId: string, startMs = START_MS, startWithinMs?: number): RunRecord =>
  ({
    runId,
    state: "scheduled",
    createdAt: "2026-11-24T18:00:00.000Z",
    startAt: new Date(startMs).toISOString(),
    request: startWithinMs === undefined ? {} : { startWithinMs },
  }) as RunRecord;

const open: Disposable[] = [];
afterEach(() => {
  for (const one of open.splice(0)) one[Symbol.dispose]();
});

/** A schedule on clocks that the test sets; `refusal` is what a start meets. */
function scheduleAt(wallMs: number, kept: readonly RunRecord[] = []) {
  const clocks = { wallMs, monotonicMs: 5e6 };
  const begun: string[] = [];
  const failed = new Map<string, { code: string; message: string }>();
  const state: { refusal: Error | null } = { refusal: null };
  const store = {
    runs: {
      unfinished: async () => kept,
    },
    leases: {
      cancel: async (runId: string, failure: { code: string; message: string }) => {
        failed.set(runId, failure);
        return true;
      },
    },
  };
  const late = { write: async (_runId: string, write: () => Promise<void>) => write() };
  const schedule = new RunSchedule(
    { store, late } as unknown as RunShelf,
    ({ runId }) => {
      if (state.refusal !== null) throw state.refusal;
      begun.push(runId);
      return undefined;
    },
    pino({ level: "silent" }),
    { wall: () => clocks.wallMs, monotonic: () => clocks.monotonicMs },
  );
  open.push(schedule);
  return {
    schedule,
    begun,
    failed,
    state,
    /** Time goes by, and a look is taken every five seconds. */
    wait: (ms: number) => {
      for (let leftMs = ms; leftMs > 0; leftMs -= 5000) {
        const byMs = Math.min(5000, leftMs);
        clocks.wallMs += byMs;
        clocks.monotonicMs += byMs;
        schedule.look();
      }
    },
    step: (ms: number) => {
      clocks.wallMs += ms;
      schedule.look();
    },
  };
}

test("a scheduled run: given that its time comes, then it begins then, once", () => {
  const { schedule, begun, wait } = scheduleAt(START_MS - 60_000);
  schedule.arm(recordOf("a"));
  wait(59_000);
  expect(begun).toEqual([]);
  wait(1000);
  expect(begun).toEqual(["a"]);
  wait(60_000);
  expect(begun).toEqual(["a"]);
});

test("a scheduled run: given a clock that is put back an hour, then it begins when the clock shows its time", () => {
  const { schedule, begun, wait, step } = scheduleAt(START_MS - 60_000);
  schedule.arm(recordOf("a"));
  step(-HOUR_MS);
  wait(HOUR_MS);
  expect(begun).toEqual([]);
  wait(60_000);
  expect(begun).toEqual(["a"]);
});

test("a scheduled run: given a clock that is put forward over its time, then it does not begin, and says why", () => {
  const { schedule, begun, failed, wait, step } = scheduleAt(START_MS - 30 * 60_000);
  schedule.arm(recordOf("a"));
  schedule.arm(recordOf("later", START_MS + HOUR_MS));
  step(HOUR_MS / 2 + 5 * 60_000); // well within a quarter of an hour after its time
  expect(begun).toEqual([]);
  expect(failed.get("a")).toMatchObject({
    code: "RUN_MISSED",
    message: expect.stringContaining("went forward by 35 min"),
  });
  wait(55 * 60_000);
  expect(begun).toEqual(["later"]); // whose time the clock reached by itself
});

test("a scheduled run: given a clock that was set before it is armed, as on a machine without a battery, then it begins at its time", () => {
  const { schedule, begun, wait, step } = scheduleAt(Date.UTC(1970, 0, 1));
  step(START_MS - 60_000 - Date.UTC(1970, 0, 1));
  schedule.arm(recordOf("a"));
  wait(60_000);
  expect(begun).toEqual(["a"]);
});

test("scheduled runs: given a controller that was away at their time, then those begin that may still, and the others say how late it is", async () => {
  const records = [
    recordOf("late", START_MS - START_WITHIN_MS - 1000),
    recordOf("soon", START_MS - START_WITHIN_MS + 60_000),
  ];
  const { schedule, begun, failed, wait } = scheduleAt(START_MS, [
    ...records,
    recordOf("strict", START_MS - 60_000, 30_000),
  ]);
  await schedule.takeUp();
  wait(5000);
  expect(begun).toEqual(["soon"]);
  expect(failed.get("late")).toMatchObject({
    code: "RUN_MISSED",
    message: expect.stringContaining("15 min late at most"),
  });
  expect(failed.get("strict")).toMatchObject({ code: "RUN_MISSED" });
});

test.each([
  ["AGENT_MISSING", "Agent tower is not connected"],
  ["RUN_BUSY", "Run b is going on"],
] as const)("a scheduled run: given %s at its time, then it waits, and begins as soon as it can", (code, message) => {
  const { schedule, begun, failed, state, wait } = scheduleAt(START_MS - 5000);
  schedule.arm(recordOf("a"));
  state.refusal = new Fault(code, message, "");
  wait(60_000);
  expect([begun, failed.size]).toEqual([[], 0]);
  state.refusal = null;
  wait(5000);
  expect(begun).toEqual(["a"]);
});

test("a scheduled run: given that nothing mends before its latest time, then it fails with what kept it", () => {
  const { schedule, begun, failed, state, wait } = scheduleAt(START_MS - 5000);
  schedule.arm(recordOf("a", START_MS, 60_000));
  state.refusal = new Fault("AGENT_MISSING", "Agent tower is not connected", "");
  wait(60_000);
  expect(failed.size).toBe(0);
  wait(10_000);
  expect(failed.get("a")).toMatchObject({ code: "AGENT_MISSING" });
  state.refusal = null;
  wait(HOUR_MS);
  expect(begun).toEqual([]);
});

test("a scheduled run: given a mistake that no waiting mends, then it fails at once", () => {
  const { schedule, failed, state, wait } = scheduleAt(START_MS - 5000);
  schedule.arm(recordOf("a"));
  state.refusal = new Fault("LOAD_UNCONFIRMED", "It would load core:1", "");
  wait(5000);
  expect(failed.get("a")).toMatchObject({ code: "LOAD_UNCONFIRMED" });
});

test("a scheduled run: given that it is cancelled, then it never begins", () => {
  const { schedule, begun, wait } = scheduleAt(START_MS - 5000);
  schedule.arm(recordOf("a"));
  expect([schedule.cancel("a"), schedule.cancel("a")]).toEqual([true, false]);
  wait(60_000);
  expect(begun).toEqual([]);
});
