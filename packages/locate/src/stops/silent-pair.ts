import type { StreamTrial } from "../cover/stream-trials.ts";
import type { PlacedReceipt } from "../run/clean-receipt.ts";
import type { TimeSpan } from "../run/run-observations.ts";

/** A listener that got nothing more of a stream. */
export interface SilentPair {
  readonly trial: StreamTrial;
  readonly receipt: PlacedReceipt;
  /** First number of the silence, and when it was sent. */
  readonly seq: number;
  readonly atMs: number;
  /** From the first to the last packet that did not come. */
  readonly span: TimeSpan;
}
