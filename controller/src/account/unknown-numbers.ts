import { mergeSequenceRanges, type SequenceRange, type StreamReceipt, subtractRanges } from "@dyetrace/measure";
import { latestFirstNumber } from "./join-settles.ts";
import type { Reception, ReceptionPiece } from "./receptions.ts";
import type { SentCount } from "./sent-count.ts";

/** Packets that are sent this shortly before a piece ends may still be under way. */
const UNDER_WAY_NS = 100e6;

/**
 * Numbers of the window of which nobody can say whether they came: sent while this listener's agent was away, after it
 * was lost, or in a second whose report never arrived. Ascending; none for a stay that was told as a whole.
 */
export function unknownNumbers(
  { pieces, membership, isWhole }: Reception,
  senderId: number,
  sent: SentCount,
  [first, last]: SequenceRange,
): SequenceRange[] {
  if (isWhole) return [];
  const ranges: SequenceRange[] = [];
  const add = (from: number, to: number): void => {
    const range: SequenceRange = [Math.max(from, first), Math.min(to, last)];
    if (range[0] <= range[1]) ranges.push(range);
  };
  const [head] = pieces;
  if (head !== undefined && head.fromNs > membership.joinRequestedNs)
    add(first, firstTold(head, null, senderId, sent) - 1);
  let endSeq = first;
  let lastArrivalNs: number | null = null;
  for (const [position, piece] of pieces.entries()) {
    const own = spansOf(piece.receipt, senderId);
    endSeq = Math.max(endSeq, own.at(-1)?.endSeq ?? first);
    lastArrivalNs = piece.receipt.lastArrivalNs ?? lastArrivalNs;
    const next = pieces[position + 1];
    if (next === undefined && piece.receipt.isFinal) break;
    // What came behind a number that was still awaited would have been told with it.
    const cameUpTo = lastArrivalNs === null ? endSeq : Math.max(endSeq, sent.nextAt(lastArrivalNs) + 1);
    add(endSeq, cameUpTo - 1);
    // Up to its end it would have told of what came: what is missing there did not come.
    const toldUpTo = Math.max(cameUpTo, sent.nextAt(piece.toNs - UNDER_WAY_NS));
    add(toldUpTo, next === undefined ? last : firstTold(next, piece, senderId, sent) - 1);
  }
  // What a later piece judged after all is told.
  const judged = pieces.flatMap(({ receipt }) => spansOf(receipt, senderId));
  const told = judged.map(({ firstSeq, endSeq }): SequenceRange => [firstSeq, endSeq - 1]);
  return subtractRanges(mergeSequenceRanges(ranges), mergeSequenceRanges(told));
}

/** The first number that a piece tells of, whether it came or not. */
function firstTold(piece: ReceptionPiece, before: ReceptionPiece | null, senderId: number, sent: SentCount): number {
  const hasJoinedAnew = before !== null && before.joinRequestedNs !== piece.joinRequestedNs;
  const latest = hasJoinedAnew
    ? latestFirstNumber(piece.joinRequestedNs, sent)
    : sent.nextAt(piece.fromNs + UNDER_WAY_NS);
  return Math.min(spansOf(piece.receipt, senderId)[0]?.firstSeq ?? latest, latest);
}

const spansOf = ({ spans }: StreamReceipt, senderId: number): StreamReceipt["spans"] =>
  spans.filter((span) => span.senderId === senderId);
