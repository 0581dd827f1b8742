import { setTimeout as sleep } from "node:timers/promises";
import { Fault } from "@dyetrace/wire";
import type { RunRecord } from "../store/run-record.ts";
import { type ContinueSurroundings, continueRun } from "./continue-run.ts";
import { CONTROLLER_INSTANCE } from "./controller-boot.ts";
import { failureOf } from "./keep-run.ts";

/** A controller that has not said for this long that it conducts a run is gone. */
const GONE_AFTER_MS = 10_000;
const RETRY_MS = 10_000;

/** Runs that were left unfinished, on their way to their end. */
export interface PickedUpRuns extends Disposable {
  /** Whether a run has yet to be taken up. */
  isWaiting(runId: string): boolean;
}

/**
 * Takes up the runs that a controller left unfinished when it ended: agents go on by their tasks meanwhile, and send what
 * they measured. The one that ends last goes on at once, the others are concluded after it, one by one. What fails for one,
 * such as a store that takes nothing, holds up no other and is tried again. Call before agents can connect.
 * @param isLasting false where the site itself ended with that controller
 * @throws only what the store throws when it is asked which runs there are
 */
export async function pickUpRuns(surroundings: ContinueSurroundings, isLasting: boolean): Promise<PickedUpRuns> {
  const { store, runs, late, log } = surroundings;
  const ending = new AbortController();
  const isTakenOver = new Set<string>();

  /** @returns false where it has to be tried again */
  const pickUp = async (record: RunRecord): Promise<boolean> => {
    const { runId, start, compiled } = record;
    try {
      if (!isTakenOver.has(runId)) {
        const isAlive = !store.isPrivate && Date.now() - record.heartbeatMs < GONE_AFTER_MS;
        if (isAlive || !(await store.runs.takeOver(record, CONTROLLER_INSTANCE))) return true;
        isTakenOver.add(runId);
      }
      if (!isLasting || start === null || compiled === null) {
        await late.write(runId, () => store.runs.failed(runId, failureOf(neverBegun(isLasting))));
        return true;
      }
      await runs.untilIdle();
      if (ending.signal.aborted) return true;
      continueRun(record, start, surroundings);
      log.info({ runId }, "run taken up again");
      return true;
    } catch (error) {
      const fault = store.fault(error);
      log.error({ err: fault, runId }, "run not taken up again");
      if (fault instanceof Fault && (fault.code === "RUN_BUSY" || fault.code.startsWith("STORE_"))) return false;
      await late.write(runId, () => store.runs.failed(runId, failureOf(fault))); // its plan is none for this version
      return true;
    }
  };
  const left = (await store.runs.unfinished()).filter(({ state }) => state === "running");
  const waiting = left.toSorted((a, b) => endMsOf(b) - endMsOf(a));
  const [first] = waiting;
  if (first !== undefined && (await pickUp(first))) waiting.shift();
  const rest = async (): Promise<void> => {
    for (let record = waiting[0]; record !== undefined && !ending.signal.aborted; record = waiting[0]) {
      const isDone = await pickUp(record);
      waiting.shift();
      if (isDone) continue;
      waiting.push(record);
      await sleep(RETRY_MS, null, { signal: ending.signal }).catch(() => undefined);
    }
  };
  void rest();
  return {
    isWaiting: (runId) => waiting.some((record) => record.runId === runId),
    [Symbol.dispose]: () => ending.abort(),
  };
}

const endMsOf = ({ start, endNs, heartbeatMs }: RunRecord): number => (start?.wallMs ?? heartbeatMs) + endNs / 1e6;

const neverBegun = (isLasting: boolean): Fault =>
  new Fault(
    "AGENT_LOST",
    isLasting
      ? "The controller ended before the run had begun"
      : "The practice site and its controller ended before the run did",
    "Start it again",
  );
