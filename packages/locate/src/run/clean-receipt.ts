import { countRanges, intersectRanges, mergeSequenceRanges, subtractRanges } from "@dyetrace/measure";
import { knownBounds } from "./known-bounds.ts";
import type { ListenerObservation, SeqRange, StreamObservation } from "./run-observations.ts";
import { firstSeqSince, sendTimeMs } from "./send-time.ts";

/** What a listener should have received and did not, freed of everything that is not the network's loss. */
export interface PlacedReceipt {
  readonly listener: ListenerObservation;
  /** Number of the listener's host in the site index. */
  readonly node: number;
  readonly window: SeqRange;
  /** Numbers of the window that the source sent and this listener surely missed. */
  readonly lost: readonly SeqRange[];
  /** Numbers of the window that the source sent and about which this listener can tell. */
  readonly sentPackets: number;
  readonly lostPackets: number;
}

/** A join or a leave may take this long without being anybody's loss: unsolicited reports repeat after up to 1 s (RFC 3376, 8.11). */
const SETTLING_MS = 2_000;
/** Packets under way while the listener leaves. Common practice, no source. */
const LEAVING_MS = 200;

/** Null when the listener gives no observation: no report, or no knowledge of what it should have received. */
export function cleanReceipt(
  stream: StreamObservation,
  listener: ListenerObservation,
  node: number,
): PlacedReceipt | null {
  if (listener.state === "no-report") return null;
  const { unknown = [] } = listener;
  const whole = listener.window ?? plannedWindow(stream, listener);
  const given = whole === null ? null : knownBounds(whole, unknown);
  if (given === null) return null;
  const lostInside = listener.window === null ? [given] : within(listener.lost, given);
  const window = withoutSettling(stream, listener, given, lostInside);
  const inWindow = within(lostInside, window);
  if (stream.unsent.length + unknown.length === 0) {
    const sentPackets = window[1] - window[0] + 1;
    return { listener, node, window, lost: inWindow, sentPackets, lostPackets: countRanges(inWindow) };
  }
  const untold = mergeSequenceRanges([...stream.unsent, ...unknown]);
  const lost = subtractRanges(inWindow, untold);
  const sentPackets = countRanges(subtractRanges([window], untold));
  return { listener, node, window, lost, sentPackets, lostPackets: countRanges(lost) };
}

/** The part of the list within the window; the list itself where nothing lies outside. */
function within(ranges: readonly SeqRange[], window: SeqRange): readonly SeqRange[] {
  const isInside = (ranges[0]?.[0] ?? window[0]) >= window[0] && (ranges.at(-1)?.[1] ?? window[1]) <= window[1];
  return isInside ? ranges : intersectRanges(ranges, [window]);
}

/** A listener that heard nothing has no numbers to go by: it should have had all that was sent while it was joined. */
function plannedWindow(stream: StreamObservation, listener: ListenerObservation): SeqRange | null {
  if (listener.receivedPackets > 0 || stream.sentPackets === 0) return null;
  const first = firstSeqSince(stream, listener.joinedFromMs);
  const end = listener.joinedToMs === null ? null : firstSeqSince(stream, listener.joinedToMs);
  const last = end === null ? stream.steps.at(-1)?.lastSeq : end - 1;
  return first === null || last === undefined || last < first ? null : [first, last];
}

/**
 * Cuts off what a late join or a leave explains. A join explains missing numbers until it must have taken effect, and no
 * more: what was sent later and is missing was lost, though the gap began before. A stream that began after that must be
 * there from its first number.
 */
function withoutSettling(
  stream: StreamObservation,
  listener: ListenerObservation,
  window: SeqRange,
  lost: readonly SeqRange[],
): SeqRange {
  let [first, last] = window;
  const head = lost[0];
  const tail = lost.at(-1);
  if (head !== undefined && head[0] === first && head[1] < last) {
    const settled = firstSeqSince(stream, listener.joinedFromMs + SETTLING_MS) ?? head[1] + 1;
    first = Math.max(first, Math.min(head[1] + 1, settled));
  }
  if (listener.joinedToMs !== null && tail !== undefined && tail[1] === last && tail[0] > first) {
    const sentMs = sendTimeMs(stream, tail[0]);
    if (sentMs !== null && sentMs > listener.joinedToMs - LEAVING_MS) last = tail[0] - 1;
  }
  return first === window[0] && last === window[1] ? window : [first, last];
}
