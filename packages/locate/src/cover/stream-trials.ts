import { countRanges, intersectRanges, mergeSequenceRanges, subtractRanges } from "@dyetrace/measure";
import type { PlacedReceipt } from "../run/clean-receipt.ts";
import { knownBounds } from "../run/known-bounds.ts";
import type { SeqRange, TimeSpan } from "../run/run-observations.ts";
import { packetIntervalMs, sendTimeMs } from "../run/send-time.ts";
import type { StreamFacts } from "../run/stream-facts.ts";
import type { PathOutcome, PathTrial } from "./path-trial.ts";

/** A trial of one stream at one payload size, with the receipt behind every outcome. */
export interface StreamTrial extends PathTrial {
  readonly facts: StreamFacts;
  readonly numbers: SeqRange;
  readonly outcomes: readonly ReceiptOutcome[];
}

export interface ReceiptOutcome extends PathOutcome {
  /** Null for a bystander, whose frames prove a path as well as a receipt does. */
  readonly receipt: PlacedReceipt | null;
  /** First number of the silence; null when the trial did not end in silence. */
  readonly silentFromSeq: number | null;
}

/** With fewer packets than this nothing is concluded from silence. Common practice, no source. */
const FEWEST_PACKETS = 10;
/** A shorter silence at the end is loss. Common practice, no source. */
const LEAST_SILENT_MS = 100;
/** As many packets in a row are no chance loss; a shorter silence must outlast the longest earlier gap this many times. Our choice, no source. */
const SURELY_SILENT_PACKETS = 200;
const TIMES_EARLIER_GAP = 3;
/** So rarely, at most, may independent losses at the rate seen before make a run as long as the silence. Our choice, no source. */
const CHANCE = 1e-6;
/** A path that still worked this much later than the silence began is not what caused it. Common practice, no source. */
const MARGIN_PACKETS = 5;
const MARGIN_MS = 100;

/** One trial for every stretch of equal payload size, since a size limit stops some sizes and not others. */
export function streamTrials(facts: StreamFacts): StreamTrial[] {
  const spans = new SpansSent(facts);
  return stretchesOfOneSize(facts).map(({ numbers, payloadBytes, marginMs }) => {
    const outcomes: ReceiptOutcome[] = [];
    for (const receipt of facts.receipts) {
      const outcome = outcomeOf(facts, receipt, numbers, marginMs, spans);
      if (outcome !== null) outcomes.push(outcome);
    }
    for (const { bystander, node } of facts.bystanders) {
      const bounds = boundsInside(bystander.ranges, numbers);
      const good = bounds === null ? null : spans.of(bounds[0], bounds[1]);
      if (good !== null)
        outcomes.push({ leaf: node, good, bad: null, marginMs: 0, receipt: null, silentFromSeq: null });
    }
    const { tree, groupKey, clockMs, members } = facts;
    const isSourceSpecific = facts.stream.ssm;
    return { facts, numbers, payloadBytes, clockMs, tree, groupKey, isSourceSpecific, members, outcomes };
  });
}

interface Stretch {
  readonly numbers: SeqRange;
  readonly payloadBytes: number;
  readonly marginMs: number;
}

function stretchesOfOneSize({ stream }: StreamFacts): Stretch[] {
  const stretches: Stretch[] = [];
  for (const step of stream.steps) {
    const marginMs = Math.max(MARGIN_MS, MARGIN_PACKETS * packetIntervalMs(step));
    const open = stretches.at(-1);
    if (open !== undefined && open.payloadBytes === step.payloadBytes) {
      const numbers: SeqRange = [open.numbers[0], step.lastSeq];
      stretches[stretches.length - 1] = { ...open, numbers, marginMs: Math.max(open.marginMs, marginMs) };
    } else {
      stretches.push({ numbers: [step.firstSeq, step.lastSeq], payloadBytes: step.payloadBytes, marginMs });
    }
  }
  return stretches;
}

function outcomeOf(
  facts: StreamFacts,
  receipt: PlacedReceipt,
  stretch: SeqRange,
  marginMs: number,
  spans: SpansSent,
): ReceiptOutcome | null {
  const { unknown = [] } = receipt.listener;
  const within: SeqRange = [Math.max(receipt.window[0], stretch[0]), Math.min(receipt.window[1], stretch[1])];
  const [first, last] = knownBounds(within, unknown) ?? [0, -1];
  const packets = last - first + 1;
  if (packets < FEWEST_PACKETS) return null;
  const leaf = receipt.node;
  if (receipt.listener.receivedPackets === 0 && (receipt.listener.nicFrames ?? 0) > 0) {
    // The frames came to its network card: the way is good, the host keeps them from the socket.
    return { leaf, good: spans.of(first, last), bad: null, marginMs, receipt, silentFromSeq: null };
  }
  const { unsent } = facts.stream;
  // What nobody can tell of proves neither that the way was good nor that it was not.
  const absent =
    unsent.length + unknown.length === 0 ? receipt.lost : mergeSequenceRanges([...receipt.lost, ...unsent, ...unknown]);
  const head = rangeWith(absent, first);
  const tail = rangeWith(absent, last);
  const [firstCame, lastCame] = [head === null ? first : head[1] + 1, tail === null ? last : tail[0] - 1];
  const silent = tail === null ? [] : subtractRanges([[Math.max(tail[0], first), last]], unknown);
  const silentFromSeq =
    silent.length > 0 && isSilence(receipt, silent, [first, last], spans) ? (silent[0]?.[0] ?? null) : null;
  return {
    leaf,
    good: firstCame <= lastCame ? spans.of(firstCame, lastCame) : null,
    bad: silentFromSeq === null ? null : spans.of(silentFromSeq, last),
    marginMs,
    receipt,
    silentFromSeq,
  };
}

/**
 * Whether what is absent at the end is a stop, and not the last of many losses or the host's own.
 * @param silent numbers that surely did not come, from the last one backwards to the last that came; not empty
 */
function isSilence(
  { lost, listener }: PlacedReceipt,
  silent: readonly SeqRange[],
  [first, last]: SeqRange,
  spans: SpansSent,
): boolean {
  const from = silent[0]?.[0] ?? last;
  const silentPackets = countRanges(silent);
  if (silentPackets < FEWEST_PACKETS) return false;
  if (from <= first) return true;
  if (silentPackets <= (listener.hostLostPackets ?? 0)) return false;
  const span = spans.of(from, last);
  if (span === null || span.endMs - span.startMs < LEAST_SILENT_MS) return false;
  if (silentPackets >= SURELY_SILENT_PACKETS) return true;
  if (silentPackets < TIMES_EARLIER_GAP * longestGapWithin(lost, first, from - 1)) return false;
  const earlierLossRatio = countRanges(intersectRanges(lost, [[first, from - 1]])) / (from - first);
  return (last - first + 1) * earlierLossRatio ** silentPackets < CHANCE;
}

function longestGapWithin(lost: readonly SeqRange[], first: number, last: number): number {
  let longest = 0;
  for (const [from, to] of lost) {
    if (from > last) break;
    longest = Math.max(longest, Math.min(to, last) - Math.max(from, first) + 1);
  }
  return longest;
}

/** The range that holds a number, by bisection. */
function rangeWith(ranges: readonly SeqRange[], seq: number): SeqRange | null {
  let low = 0;
  let high = ranges.length;
  while (low < high) {
    const middle = (low + high) >>> 1;
    if ((ranges[middle] as SeqRange)[1] < seq) low = middle + 1;
    else high = middle;
  }
  const found = ranges[low];
  return found !== undefined && found[0] <= seq ? found : null;
}

/** First and last number of the ranges that lie within the stretch, null when none does. */
function boundsInside(ranges: readonly SeqRange[], [first, last]: SeqRange): SeqRange | null {
  const lowest = ranges.find((range) => range[1] >= first);
  const highest = ranges.findLast((range) => range[0] <= last);
  if (lowest === undefined || highest === undefined || lowest[0] > last || highest[1] < first) return null;
  return [Math.max(first, lowest[0]), Math.min(last, highest[1])];
}

/** When numbers of a stream were sent. Most listeners have the same first and last one, and share the answer. */
class SpansSent {
  readonly #stream: StreamFacts["stream"];
  #first = Number.NaN;
  #last = Number.NaN;
  #span: TimeSpan | null = null;

  constructor({ stream }: StreamFacts) {
    this.#stream = stream;
  }

  of(firstSeq: number, lastSeq: number): TimeSpan | null {
    if (firstSeq === this.#first && lastSeq === this.#last) return this.#span;
    const startMs = sendTimeMs(this.#stream, firstSeq);
    const endMs = sendTimeMs(this.#stream, lastSeq);
    this.#span = startMs === null || endMs === null ? null : { startMs, endMs };
    [this.#first, this.#last] = [firstSeq, lastSeq];
    return this.#span;
  }
}
