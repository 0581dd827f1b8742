import type { ClearedElements } from "../cover/cleared-elements.ts";
import type { StreamTrial } from "../cover/stream-trials.ts";
import type { SilentPair } from "./silent-pair.ts";

/** Payload sizes between which a limit lies. */
export interface SizeBoundary {
  readonly largestPassingBytes: number;
  readonly smallestFailingBytes: number;
}

/** Packets after a change of size that may still belong to the size before it. Common practice, no source. */
const BOUNDARY_PACKETS = 5;
/** How much larger failing groups must be than passing ones for the size to be the reason. Our choice, no source. */
const CLEARLY_LARGER = 1.2;

/**
 * A size limit shows where one listener gets the small packets of a stream and, from the change of size on, none of
 * the large ones. Without such a step it takes two groups, all failing ones clearly larger than all passing ones.
 */
export function sizeBoundary(
  silentPairs: readonly SilentPair[],
  segments: readonly number[],
  trials: readonly StreamTrial[],
  cleared: ClearedElements,
): SizeBoundary | null {
  const sizes = segments.flatMap((segment) => cleared.largestGoodBytes(segment) ?? []);
  if (silentPairs.length === 0 || sizes.length === 0) return null;
  const largestPassingBytes = Math.max(...sizes);
  const smallestFailingBytes = silentPairs.reduce(
    (least, { trial }) => Math.min(least, trial.payloadBytes),
    Number.POSITIVE_INFINITY,
  );
  if (largestPassingBytes >= smallestFailingBytes) return null;
  const isSameStream = silentPairs.some(({ trial }) =>
    trials.some((t) => t.facts === trial.facts && t.payloadBytes <= largestPassingBytes),
  );
  const groups = new Set(silentPairs.map((pair) => pair.trial.groupKey));
  const isClearAcrossGroups = groups.size > 1 && smallestFailingBytes >= CLEARLY_LARGER * largestPassingBytes;
  const hasSizePattern = silentPairs.every(startsAtChange) && (isSameStream || isClearAcrossGroups);
  return hasSizePattern ? { largestPassingBytes, smallestFailingBytes } : null;
}

/** The silence begins where a stretch of a new size begins (this one's, or an earlier one's that was silent too). */
function startsAtChange({ trial, seq }: SilentPair): boolean {
  return trial.facts.stream.steps.some((step) => Math.abs(step.firstSeq - seq) <= BOUNDARY_PACKETS);
}
