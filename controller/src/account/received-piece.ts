import { countRanges, intersectRanges, type SequenceRange, subtractRanges } from "@dyetrace/measure";
import { clipRuns } from "./missing-runs.ts";
import type { SourceAccount } from "./source-account.ts";
import { hostLostIn, lostIn } from "./stay-numbers.ts";
import type { Stay } from "./stays.ts";

/** What came of a stay's packets in a part of the run, what the way lost, and what the host itself dropped (null: not known). */
export interface ReceivedPiece {
  readonly received: number;
  readonly lost: number;
  readonly hostLost: number | null;
}

/** By the numbers that were sent from the one instant to the other. Pure. @returns null where nothing of it is known */
export function receivedPiece(
  { numbers, reception }: Stay,
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
