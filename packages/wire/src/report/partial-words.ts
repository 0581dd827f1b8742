import type { ReportReceipt } from "./report-receipt-schema.ts";

/** What must stand beside the figures of a partial receipt; null for a whole one. */
export function partialWords({ unknown }: Pick<ReportReceipt, "unknown">): string | null {
  if (unknown === undefined) return null;
  return unknown === 0 ? "partial" : `partial: ${unknown} ${unknown === 1 ? "packet" : "packets"} unknown`;
}
