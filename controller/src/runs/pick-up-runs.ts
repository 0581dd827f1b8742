import { setTimeout as sleep } from "node:timers/promises";
import { Fault } from "@dyetrace/wire";
import { CONTROLLER_INSTANCE } from "../about/controller-instance.ts";
import { monotonicNs } from "../agents/monotonic-clock.ts";
import type { RunRecord } from "../store/run-record.ts";
import { type ContinueSurroundings, continueRun } from "./continue-run.ts";
import { writeFailure } from "./keep-run.ts";

const RETRY_MS = 10_000;

/** Runs that were left unfinished, on their way to their end. */
export interface PickedUpRuns extends Disposable {
  /** Whether a run has yet to be taken up. */
  isWaiting(runId: string): boolean;
}

/**
 * Of a store that no other controller has: takes up the runs that a controller left unfinished when it ended: agents go on by their tasks meanwhile, and send what
 * they measured. The one that ends last goes on at once, the others are concluded after it, one by one. What fails for one,
 * such as a store that takes nothing, holds up no other and is tried again. Call before agents can connect.
 * @param isLasting false where the site itself ended with that controller
 * @throws only what the store throws when it is asked which runs there are
 */
export async function pickUpRuns(surroundings: ContinueSurroundings, isLasting: boolean): Promise<PickedUpRuns> {
  const { store, runs, log } = surroundings;
  const ending = new AbortController();
  const openNs = monotonicNs();
  /** As they were when they were taken over. */
  const takenOver = new Map<string, RunRecord>();
  /** @returns when it has to be tried again, ms; null: no more */
  const pickUp = async (known: RunRecord): Promise<number | null> => {
    const { runId } = known;
    try {
      const record = takenOver.get(runId) ?? (await takeOver(surroundings, known));
      if (record === "over") return null;
      takenOver.set(runId, record);
      const { start, compiled } = record;
      if (!isLasting || start === null || compiled === null) {
        await writeFailure(surroundings, runId, neverBegun(isLasting));
        takenOver.delete(runId);
        return null;
      }
      await runs.untilIdle();
      if (ending.signal.aborted) return null;
      continueRun(record, start, surroundings, openNs);
      takenOver.delete(runId);
      log.info({ runId }, "run taken up again");
      return null;
    } catch (error) {
      const fault = store.fault(error);
      log.error({ err: fault, runId }, "run not taken up again");
      if (fault instanceof Fault && (fault.code === "RUN_BUSY" || fault.code.startsWith("STORE_"))) return RETRY_MS;
      await writeFailure(surroundings, runId, fault); // its plan is none for this version
      takenOver.delete(runId);
      return null;
    }
  };
  const left = (await store.runs.unfinished()).filter(({ state }) => state === "running");
  const waiting = left.toSorted((a, b) => endMsOf(b) - endMsOf(a));
  const [first] = waiting;
  if (first !== undefined && (await pickUp(first)) === null) waiting.shift();
  const rest = async (): Promise<void> => {
    for (let record = waiting[0]; record !== undefined && !ending.signal.aborted; record = waiting[0]) {
      const againMs = await pickUp(record);
      waiting.shift();
      if (againMs === null) continue;
      waiting.push(record);
      await sleep(againMs, null, { signal: ending.signal }).catch(() => undefined);
    }
  };
  void rest();
  return {
    isWaiting: (runId) => waiting.some((record) => record.runId === runId),
    [Symbol.dispose]: () => {
      ending.abort();
    },
  };
}

async function takeOver({ store, holds }: ContinueSurroundings, known: RunRecord): Promise<RunRecord | "over"> {
  const epoch = await store.leases.takeOver(known.runId, CONTROLLER_INSTANCE, null);
  if (epoch === null) return "over";
  holds.hold(known.runId, epoch);
  return known;
}

const endMsOf = ({ start, endNs, heartbeatMs }: RunRecord): number => (start?.wallMs ?? heartbeatMs) + endNs / 1e6;

export const neverBegun = (isLasting: boolean): Fault =>
  new Fault(
    "AGENT_LOST",
    isLasting
      ? "The controller ended before the run had begun"
      : "The practice site and its controller ended before the run did",
    "Start it again",
  );
