import type { ReportReceipt } from "@dyetrace/wire";

const MOST_NAMED = 4;

/** Of which receipts something is not known, and why, as far as they tell. @returns "" for none */
export function sayUnknown(
  unknown: readonly ReportReceipt[],
  all: number,
  why: (receipt: ReportReceipt) => string = whyUnknown,
): string {
  if (unknown.length === 0) return "";
  const named = unknown.slice(0, MOST_NAMED).map((one) => `${one.stream} at ${one.listener} (${why(one)})`);
  const more = unknown.length - named.length;
  const rest = more === 0 ? "" : `, and ${more} more`;
  return `Not known for ${unknown.length} of ${all} receipts: ${named.join(", ")}${rest}.`;
}

export function whyUnknown({ received, sent }: ReportReceipt): string {
  if (received === null) return "its agent did not report in full";
  if (sent === 0) return "nothing was sent while it was joined";
  if (received === 0) return "nothing came";
  return sent === null ? "what it should have had cannot be told" : "too little came to measure it";
}
