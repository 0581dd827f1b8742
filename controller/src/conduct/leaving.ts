/**
 * Why a run's signal is aborted when the controller ends and the run does not: agents go on by their tasks, and the next
 * controller on this store takes the run up again.
 */
export const LEAVING: unique symbol = Symbol("the controller is leaving");

export const isLeaving = (signal: AbortSignal): boolean => signal.aborted && signal.reason === LEAVING;

/** Ends a run's job without a word in the store. */
export class Left extends Error {
  override readonly message = "The controller has left this run to the next one";
}
