import type { Stay } from "../account/stays.ts";
import type { CompiledStream } from "../plan/compiled-run.ts";

/** Shorter ones are a stream's own rhythm. Our choice, no source. */
const LEAST_NS = 2e9;

interface Span {
  readonly fromNs: number;
  readonly toNs: number;
}

/**
 * The longest time in which all listeners of a stream whose packets bear no sequence number got nothing of it, though some came before
 * and after: whether it paused or was lost before the ways part can't be known. With numbers the one shows as a gap, the other does not.
 */
export function commonSilence({ name, followed }: CompiledStream, stays: readonly Stay[]): Span | null {
  if (followed === undefined || followed.isUnseen || followed.identifiedBy === "sequence") return null;
  const spans = stays.flatMap(({ join, reception }): Span[] => {
    if (join.stream !== name || reception === null || reception.receipt.received === 0) return [];
    const { startNs = null, durationNs = 0 } = reception.receipt.longestSilence ?? {};
    return [startNs === null ? { fromNs: 0, toNs: 0 } : { fromNs: startNs, toNs: startNs + durationNs }];
  });
  if (spans.length === 0) return null;
  const fromNs = Math.max(...spans.map((one) => one.fromNs));
  const toNs = Math.min(...spans.map((one) => one.toNs));
  return toNs - fromNs >= LEAST_NS ? { fromNs, toNs } : null;
}

/** `from 4.0 s to 6.0 s`. */
export const whenSilent = ({ fromNs, toNs }: Span): string =>
  `from ${(fromNs / 1e9).toFixed(1)} s to ${(toNs / 1e9).toFixed(1)} s`;
