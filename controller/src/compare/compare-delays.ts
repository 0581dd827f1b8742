import { formatDurationNs, type ReportReceipt } from "@dyetrace/wire";
import { UNDECIDED } from "./compare-loss.ts";
import type { Candidate } from "./comparison.ts";
import type { ReceiptPair } from "./pair-receipts.ts";
import { leastRankSumP, median, medianShift, rankSumTest } from "./rank-sum-test.ts";

/** Delays that moved by less than a fifth and less than 50 ms do not matter (common practice, no source). */
const DELAY_STEP_RATIO = 0.2;
const DELAY_STEP_MS = 50;
/** Jitter that moved by less than half and less than 1 ms does not matter (common practice, no source). */
const JITTER_STEP_RATIO = 0.5;
const JITTER_STEP_MS = 1;
/** Stands for a leave that took no effect while anybody watched: longer than any that did. */
const FOR_EVER_MS = Number.MAX_SAFE_INTEGER;

interface Measure {
  readonly what: string;
  readonly stepRatio: number;
  readonly stepMs: number;
  readonly valuesMs: (receipt: ReportReceipt) => readonly number[];
  /** How far each value may be from the truth. */
  readonly resolutionMs: (receipt: ReportReceipt) => number;
}

const JOIN_DELAY: Measure = {
  what: "join delay",
  stepRatio: DELAY_STEP_RATIO,
  stepMs: DELAY_STEP_MS,
  valuesMs: ({ joinDelays, joinDelayMs }) => joinDelays?.valuesMs ?? (joinDelayMs === null ? [] : [joinDelayMs]),
  resolutionMs: ({ joinDelays }) => joinDelays?.resolutionMs ?? 0,
};

const LEAVE_DELAY: Measure = {
  what: "leave delay",
  stepRatio: DELAY_STEP_RATIO,
  stepMs: DELAY_STEP_MS,
  valuesMs: ({ leaveDelays, leaveDelayMs, leavesWithoutEffect }) => [
    ...(leaveDelays?.valuesMs ?? (leaveDelayMs === null ? [] : [leaveDelayMs])),
    ...Array.from({ length: leavesWithoutEffect ?? 0 }, () => FOR_EVER_MS),
  ],
  resolutionMs: ({ leaveDelays }) => leaveDelays?.resolutionMs ?? 0,
};

const JITTER: Measure = {
  what: "jitter",
  stepRatio: JITTER_STEP_RATIO,
  stepMs: JITTER_STEP_MS,
  valuesMs: ({ jitterMs }) => (jitterMs === null ? [] : [jitterMs]),
  resolutionMs: () => 0,
};

/** Listeners of one stream that lie behind the same place, and others do not. */
export interface ListenerGroup {
  readonly stream: string;
  readonly listeners: readonly string[];
  readonly places: readonly string[];
}

/**
 * Join and leave delays at each listener, at those behind the same switch, and at all listeners of a stream, and jitter
 * at all together: a single listener's few trials often can't show what several can.
 */
export function compareDelays(pairs: readonly ReceiptPair[], groups: readonly ListenerGroup[]): readonly Candidate[] {
  const streams = [...new Set(pairs.map((pair) => pair.stream))];
  return streams.flatMap((stream) => {
    const own = pairs.filter((pair) => pair.stream === stream);
    return [
      ...own.flatMap((pair) => [JOIN_DELAY, LEAVE_DELAY].flatMap((measure) => compare(measure, [pair], pair.listener))),
      ...groups
        .filter((group) => group.stream === stream)
        .flatMap(({ listeners, places }) => {
          const members = own.filter((pair) => listeners.includes(pair.listener));
          return [JOIN_DELAY, LEAVE_DELAY].flatMap((measure) =>
            compare(measure, members, null).map((candidate) => ({ ...candidate, places })),
          );
        }),
      ...[JOIN_DELAY, LEAVE_DELAY, JITTER].flatMap((measure) => compare(measure, own, null)),
    ];
  });
}

function compare(measure: Measure, pairs: readonly ReceiptPair[], listener: string | null): Candidate[] {
  const before = pairs.flatMap((pair) => measure.valuesMs(pair.before));
  const after = pairs.flatMap((pair) => measure.valuesMs(pair.after));
  const [first] = pairs;
  if (first === undefined || (before.length === 0 && after.length === 0)) return [];
  const base = {
    what: measure.what,
    stream: first.stream,
    listener,
    places: [],
    before: words(before),
    after: words(after),
  };
  if (before.length === 0 || after.length === 0) {
    const which = before.length === 0 ? "earlier" : "later";
    return [{ ...base, ...UNDECIDED, step: "", because: `the ${which} run measured none` }];
  }
  const resolutionMs = Math.max(
    ...pairs.map((pair) => Math.max(measure.resolutionMs(pair.before), measure.resolutionMs(pair.after))),
  );
  const stepMs = Math.max(measure.stepMs, measure.stepRatio * (median(before) ?? 0), 2 * resolutionMs);
  const shiftMs = medianShift(before, after);
  const isMaterial = Math.abs(shiftMs) >= stepMs;
  return [
    {
      ...base,
      outcome: "cant-tell",
      tested: { p: rankSumTest(before, after), leastP: leastRankSumP(before.length, after.length) },
      isGreater: shiftMs > 0,
      isMaterial,
      isWithin: !isMaterial,
      allows: null,
      step: ms(stepMs),
      because: `${ms(Math.abs(shiftMs))} ${shiftMs > 0 ? "longer" : "shorter"} in the middle of ${after.length} trials against ${before.length}`,
    },
  ];
}

const ms = (value: number): string =>
  value >= FOR_EVER_MS / 2 ? "longer than was waited" : formatDurationNs(value * 1e6);

function words(values: readonly number[]): string {
  const middle = median(values);
  if (middle === null) return "not measured";
  return values.length === 1 ? ms(middle) : `${ms(middle)} (median of ${values.length})`;
}
