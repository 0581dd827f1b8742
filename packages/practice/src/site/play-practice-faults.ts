import type { PracticeFault } from "../faults/practice-fault.ts";
import type { PracticeSite } from "./practice-site.ts";

/** Faults that come and go at their times. */
export interface FaultPlay extends AsyncDisposable {
  /** Takes out what still stands, and forgets what has not come yet. @throws {Fault} the first that failed, of any time */
  stop(): Promise<void>;
}

/**
 * Puts the standing faults in, then each of the others at its time. Call it when the run starts.
 * @throws {Fault} PRACTICE_FAULT_INVALID or PRACTICE_FAILED for the faults that stand from the beginning
 */
export async function playPracticeFaults(
  site: Pick<PracticeSite, "inject" | "lift">,
  faults: readonly PracticeFault[],
  onFailure: (error: unknown) => void = () => {},
): Promise<FaultPlay> {
  const startedAt = performance.now();
  const standing = new Set<PracticeFault>();
  const timers = new Set<NodeJS.Timeout>();
  let failure: unknown = null;

  const put = async (fault: PracticeFault): Promise<void> => {
    await site.inject([fault]);
    standing.add(fault);
  };
  const take = async (fault: PracticeFault): Promise<void> => {
    if (standing.delete(fault)) await site.lift([fault]);
  };
  let turn: Promise<void> = Promise.resolve();
  const later = (atMs: number, act: () => Promise<void>): void => {
    const timer = setTimeout(
      () => {
        turn = turn.then(act).catch((error: unknown) => {
          failure ??= error;
          onFailure(error);
        });
      },
      startedAt + atMs - performance.now(),
    );
    timers.add(timer);
  };
  const stop = async (): Promise<void> => {
    for (const timer of timers) clearTimeout(timer);
    await turn;
    for (const fault of standing) await take(fault);
    if (failure !== null) throw failure;
  };

  const standingFromTheStart = faults.filter(({ atMs }) => atMs === null);
  await site.inject(standingFromTheStart);
  for (const fault of standingFromTheStart) standing.add(fault);
  for (const fault of faults) {
    if (fault.atMs !== null) later(fault.atMs, () => put(fault));
    if (fault.untilMs !== null) later(fault.untilMs, () => take(fault));
  }
  return { stop, [Symbol.asyncDispose]: stop };
}
