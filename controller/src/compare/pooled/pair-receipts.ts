import type { ReportReceipt, RunReport } from "@dyetrace/wire";

/** What both runs measured of one stream at one listener. */
export interface ReceiptPair {
  readonly stream: string;
  readonly listener: string;
  readonly before: ReportReceipt;
  readonly after: ReportReceipt;
}

export function pairReceipts(before: RunReport, after: RunReport): readonly ReceiptPair[] {
  return after.receipts.flatMap((receipt) => {
    const { stream, listener } = receipt;
    const old = before.receipts.find((one) => one.stream === stream && one.listener === listener);
    return old === undefined ? [] : [{ stream, listener, before: old, after: receipt }];
  });
}
