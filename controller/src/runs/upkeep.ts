import type { Logger } from "pino";
import { joinBodies } from "../intake/join-bodies.ts";
import { ONE_MINUTE_NS, type Retention, TEN_SECONDS_NS } from "../store/retention.ts";
import type { RunRecord } from "../store/run-record.ts";
import type { Store } from "../store/store.ts";

const EVERY_MS = 10_000;
/** How many runs are looked at in one turn for what is left to roll up. */
const RUNS_A_TURN = 200;
/** A report may be an hour behind: its agent was away. */
const LATE_MS = 3600e3;
/** The disk gets room back a little in each turn, so that nobody waits. */
const SHRINK_STEPS = 8;

/** Rolls up what has come of age and deletes what has gone past it, every few seconds, in small steps. */
export function keepUp(store: Store, retention: Retention, now: () => number, log: Logger): Disposable {
  let turn: Promise<void> = Promise.resolve();
  const timer = setInterval(() => {
    turn = turn
      .then(() => upkeep(store, retention, now()))
      .catch((error: unknown) => log.error({ err: store.fault(error) }, "upkeep of the store failed"));
  }, EVERY_MS);
  return { [Symbol.dispose]: () => clearInterval(timer) };
}

/** @param nowMs milliseconds since 1970 */
export async function upkeep(store: Store, retention: Retention, nowMs: number): Promise<void> {
  if (retention.runsNs !== null) await store.runs.deleteEndedBefore(nowMs - retention.runsNs / 1e6);
  for (const { runId, startedMs, endedMs } of await store.reports.toRollUp(RUNS_A_TURN)) {
    // A finished run ages by the clock as well: its reports lie there as long.
    await rollUpRun(store, runId, (nowMs - startedMs) * 1e6, retention);
    const isOld = endedMs !== null && nowMs - endedMs > retention.tenSecondsNs / 1e6 + LATE_MS;
    if (isOld) await store.reports.rolledUp(runId);
  }
  for (let step = 0; step < SHRINK_STEPS && store.shrink(); step++);
}

/** @param ageNs how long ago the run began */
export async function rollUpRun(
  store: Store,
  runId: RunRecord["runId"],
  ageNs: number,
  retention: Retention,
): Promise<void> {
  const steps = [
    { fromGrainNs: 0, toGrainNs: TEN_SECONDS_NS, beforeNs: ageNs - retention.fullDetailNs },
    { fromGrainNs: TEN_SECONDS_NS, toGrainNs: ONE_MINUTE_NS, beforeNs: ageNs - retention.tenSecondsNs },
  ];
  for (const step of steps) if (step.beforeNs > 0) await store.reports.rollUp(runId, step, joinBodies);
}
