/** Stands in until the measuring package exports its exact merge. */
import type { StreamReceipt } from "@dyetrace/measure";
export const mergeReceipts = (a: StreamReceipt, b: StreamReceipt): StreamReceipt => ({
  ...b,
  received: a.received + b.received,
  lost: a.lost + b.lost,
  firstCopies: a.firstCopies + b.firstCopies,
});
