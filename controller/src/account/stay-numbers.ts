import {
  countRanges,
  intersectRanges,
  mergeSequenceRanges,
  type SequenceRange,
  type StreamReceipt,
  subtractRanges,
} from "@dyetrace/measure";
import type { CompiledStream, PlannedJoin } from "../plan/compiled-run.ts";
import { type ExpectedNumbers, expectedNumbers } from "./expected-numbers.ts";
import { clipRuns, type MissingRun, missingAsNoticed, missingWithin } from "./missing-runs.ts";
import type { Reception } from "./receptions.ts";
import type { SourceAccount } from "./source-account.ts";
import { unknownNumbers } from "./unknown-numbers.ts";

/**
 * The numbers of one stay, accounted for once: what the listener should have had and what of it did not come. Lost packets
 * and gaps are both read from `missing`, so that they can't contradict each other.
 */
export interface StayNumbers extends ExpectedNumbers {
  /** Of the window, those of which nobody can say whether they came. Ascending; neither missing nor received. */
  readonly unknown: readonly SequenceRange[];
  /** Of the window; where nobody can say what that is, what the listener noticed by itself. Ascending. */
  readonly missing: readonly MissingRun[];
  readonly missingInWarmUp: readonly MissingRun[];
  /** The longest of `missing` that is one gap; 0 if there is none. */
  readonly longestGapNs: number;
}

/** @param warmUpNs as the scenario states it, null where it does not */
export function numbersOf(
  join: PlannedJoin,
  stream: CompiledStream,
  reception: Reception,
  source: SourceAccount | null,
  warmUpNs: number | null,
): StayNumbers {
  const { receipt } = reception;
  const { window, warmUp } = expectedNumbers(join, reception, source, warmUpNs);
  const from = (warmUp ?? window)?.[0];
  const to = (window ?? warmUp)?.[1];
  if (source === null || from === undefined || to === undefined) {
    const missing = missingAsNoticed(receipt);
    return { window, warmUp, unknown: [], missing, missingInWarmUp: [], longestGapNs: longestGapNs(missing, receipt) };
  }
  const intervalNs = (stream.payloadBytes * 8e9) / stream.rateBps;
  const { senderId } = source.emission;
  const unknown = unknownNumbers(reception, senderId, source.sent, [from, to]);
  const told = subtractRanges([[from, to]], unknown);
  const whole = missingWithin(receipt, senderId, [from, to], intervalNs);
  const all = unknown.length === 0 ? whole : told.flatMap((range) => clipRuns(whole, range));
  const missing = window === null ? [] : clipRuns(all, window);
  const missingInWarmUp = warmUp === null ? [] : clipRuns(all, warmUp);
  return {
    window,
    warmUp,
    unknown: window === null ? [] : intersectRanges(unknown, [window]),
    missing,
    missingInWarmUp,
    longestGapNs: longestGapNs(missing, receipt),
  };
}

/** The outline of several gaps is longer than each of them, and the listener knows its longest one. */
function longestGapNs(missing: readonly MissingRun[], { longestGap }: StreamReceipt): number {
  const mostNs = longestGap?.durationNs ?? 0;
  return missing.reduce((longest, { durationNs, isOne }) => {
    if (durationNs === null) return longest;
    return Math.max(longest, isOne ? durationNs : Math.min(durationNs, mostNs));
  }, 0);
}

/** Packets that did not come, the host's own drops among them. */
export const lostIn = (runs: readonly MissingRun[]): number => runs.reduce((sum, { lost }) => sum + lost, 0);

export const hostLostIn = (runs: readonly MissingRun[]): number =>
  runs.reduce((sum, { hostLost }) => sum + hostLost, 0);

/** The numbers themselves; of an outline, those between its gaps too. */
export const numbersIn = (runs: readonly MissingRun[]): SequenceRange[] =>
  mergeSequenceRanges(runs.map(({ firstSeq, count }): SequenceRange => [firstSeq, firstSeq + count - 1]));

/** What came of a stay's packets in a part of the run, what the way lost, and what the host itself dropped (null: not known). */
export interface ReceivedPiece {
  readonly received: number;
  readonly lost: number;
  readonly hostLost: number | null;
}

/** By the numbers that were sent from the one instant to the other. Pure. @returns null where nothing of it is known */
export function receivedPiece(
  { numbers, reception }: { readonly numbers: StayNumbers | null; readonly reception: Reception | null },
  { sent }: SourceAccount,
  fromNs: number,
  toNs: number,
): ReceivedPiece | null {
  if (numbers === null || numbers.window === null || reception === null) return null;
  const range: SequenceRange = [sent.nextAt(fromNs), sent.nextAt(toNs) - 1];
  const [due] = range[1] < range[0] ? [] : intersectRanges([range], [numbers.window]);
  if (due === undefined) return null;
  const told = countRanges(subtractRanges([due], numbers.unknown));
  if (told === 0) return null;
  const missing = clipRuns(numbers.missing, due);
  const hostLost = reception.receipt.hostLost === null ? null : hostLostIn(missing);
  const absent = Math.min(told, lostIn(missing));
  return { received: told - absent, lost: Math.max(0, absent - (hostLost ?? 0)), hostLost };
}
