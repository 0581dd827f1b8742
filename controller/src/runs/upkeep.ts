import type { Logger } from "pino";
import { joinBodies } from "../intake/join-bodies.ts";
import { ONE_MINUTE_NS, type Retention, TEN_SECONDS_NS } from "../store/retention.ts";
import type { RunRecord } from "../store/run-record.ts";
import type { Store } from "../store/store.ts";

const EVERY_MS = 10_000;
/** How many finished runs are looked at for what is left to roll up. */
const RECENT_RUNS = 20;

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
  const recent = await store.runs.list(RECENT_RUNS);
  for (const { runId, startedAt, endedAt } of recent) {
    if (startedAt === null) continue;
    // A finished run ages by the clock as well: its reports lie there as long.
    const isSettled = endedAt !== null && nowMs - Date.parse(endedAt) > retention.tenSecondsNs / 1e6 + 3600e3;
    if (isSettled) continue;
    await rollUpRun(store, runId, (nowMs - Date.parse(startedAt)) * 1e6, retention);
  }
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
