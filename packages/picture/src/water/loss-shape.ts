import type { ReportReceipt } from "@dyetrace/wire";

/** How much is missing, in tenfold steps as the cups and strips show it: under 0.1 %, 1 %, 10 %, or more. */
export type LossClass = 1 | 2 | 3 | 4;

/** @param lossRatio above 0 */
export const lossClassOf = (lossRatio: number): LossClass =>
  lossRatio < 0.001 ? 1 : lossRatio < 0.01 ? 2 : lossRatio < 0.1 ? 3 : 4;

export const LOSS_CLASS_WORDS: Readonly<Record<LossClass, string>> = {
  1: "under 0.1 %",
  2: "under 1 %",
  3: "under 10 %",
  4: "10 % or more",
};

/** As long as packages/locate takes for an outage, with several packets in it: a slow stream's gap is long with one. */
const OUTAGE_MS = 100;
const OUTAGE_PACKETS = 3;
/** Share of what is missing that outages must explain; common practice, no source. */
const MOSTLY = 0.9;

/**
 * Whether what is missing lies in outages with everything received between them, rather than here and there.
 * @param packetMs between two packets of the stream, for gaps before the first and after the last arrival
 */
export function isInterrupted({ gaps, lost }: Pick<ReportReceipt, "gaps" | "lost">, packetMs: number): boolean {
  if (lost === null || lost === 0) return false;
  const inOutages = gaps
    .filter(({ count, durationMs }) => count >= OUTAGE_PACKETS && (durationMs ?? count * packetMs) >= OUTAGE_MS)
    .reduce((sum, { count }) => sum + count, 0);
  return inOutages >= MOSTLY * lost;
}
