/** Join or leave delays of several trials. Percentiles are values that occurred (nearest rank). */
export interface DelayDistribution {
  readonly trials: number;
  readonly minNs: number;
  readonly medianNs: number;
  readonly p95Ns: number;
  readonly maxNs: number;
  /** Packet interval: every value is uncertain by up to this. */
  readonly resolutionNs: number;
}

/** @returns null when nothing was measured */
export function delayDistribution(
  measured: readonly { readonly delayNs: number; readonly resolutionNs: number }[],
): DelayDistribution | null {
  const sorted = measured.map((one) => one.delayNs).toSorted((a, b) => a - b);
  const rank = (share: number): number => sorted[Math.max(0, Math.ceil(share * sorted.length) - 1)] ?? 0;
  if (sorted.length === 0) return null;
  return {
    trials: sorted.length,
    minNs: rank(0),
    medianNs: rank(0.5),
    p95Ns: rank(0.95),
    maxNs: rank(1),
    resolutionNs: Math.max(...measured.map((one) => one.resolutionNs)),
  };
}
