import { formatDurationNs, type ReportReceipt } from "@dyetrace/wire";
import { UNDECIDED } from "./compare-loss.ts";
import type { Candidate } from "./comparison.ts";
import type { ReceiptPair } from "./pooled/pair-receipts.ts";
import { leastRankSumP, median, medianShift, rankSumTest, shiftInterval } from "./rank-sum-test.ts";

/** Joins that took a tenth and 5 ms longer matter to whoever changes channels (common practice, no source). */
const JOIN_STEP_RATIO = 0.1;
const JOIN_STEP_MS = 5;
/** What of a join delay may be missed where the trials show no more (common practice, no source). */
const JOIN_MISSED_MS = 50;
/** Leaves that took less than a fifth and less than 50 ms longer do not (common practice, no source). */
const LEAVE_STEP_RATIO = 0.2;
const LEAVE_STEP_MS = 50;
const LEAVE_MISSED_MS = 500;
/** Jitter that moved by less than half and less than 1 ms does not matter (common practice, no source). */
const JITTER_STEP_RATIO = 0.5;
const JITTER_STEP_MS = 1;
const JITTER_MISSED_MS = 10;
/** Stands for a leave that took no effect while anybody watched: longer than any that did. */
const FOR_EVER_MS = Number.MAX_SAFE_INTEGER;

interface Measure {
  readonly what: string;
  readonly stepRatio: number;
  readonly stepMs: number;
  /** A rise of this much at the most may be missed for nothing to have changed. */
  readonly missedMs: number;
  readonly valuesMs: (receipt: ReportReceipt) => readonly number[];
  /** How far each value may be from the truth. */
  readonly resolutionMs: (receipt: ReportReceipt) => number;
}

const JOIN_DELAY: Measure = {
  what: "join delay",
  stepRatio: JOIN_STEP_RATIO,
  stepMs: JOIN_STEP_MS,
  missedMs: JOIN_MISSED_MS,
  valuesMs: ({ joinDelays, joinDelayMs }) => joinDelays?.valuesMs ?? (joinDelayMs === null ? [] : [joinDelayMs]),
  resolutionMs: ({ joinDelays }) => joinDelays?.resolutionMs ?? 0,
};

const LEAVE_DELAY: Measure = {
  what: "leave delay",
  stepRatio: LEAVE_STEP_RATIO,
  stepMs: LEAVE_STEP_MS,
  missedMs: LEAVE_MISSED_MS,
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
  missedMs: JITTER_MISSED_MS,
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
export function compareDelays(
  pairs: readonly ReceiptPair[],
  groups: readonly ListenerGroup[],
  level: number,
): readonly Candidate[] {
  const compare = compareAt(level);
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

type CompareMeasure = (measure: Measure, pairs: readonly ReceiptPair[], listener: string | null) => Candidate[];

const compareAt =
  (level: number): CompareMeasure =>
  (measure, pairs, listener) => {
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
      const isBarred = before.length === 0;
      return [{ ...base, ...UNDECIDED, isBarred, step: "", because: `the ${which} run measured none` }];
    }
    const resolutionMs = Math.max(
      ...pairs.map((pair) => Math.max(measure.resolutionMs(pair.before), measure.resolutionMs(pair.after))),
    );
    // Joins that come at the same place between two packets in every trial are all off by the same, up to one packet's interval.
    const stepMs = Math.max(measure.stepMs, measure.stepRatio * (median(before) ?? 0), resolutionMs);
    const shiftMs = medianShift(before, after);
    const isMaterial = Math.abs(shiftMs) >= stepMs;
    const interval = shiftInterval(before, after, level);
    const allowsMs =
      interval === null || interval.high >= FOR_EVER_MS / 2 ? null : Math.max(0, interval.high) + resolutionMs;
    const trials = `${after.length} trials against ${before.length}`;
    return [
      {
        ...base,
        outcome: "cant-tell",
        tested: { p: rankSumTest(before, after), leastP: leastRankSumP(before.length, after.length) },
        isGreater: shiftMs > 0,
        isMaterial,
        isWithin: !isMaterial,
        isBarred: false,
        isBounded: allowsMs !== null && allowsMs <= Math.max(measure.missedMs, 2 * stepMs),
        allows: null,
        allowsMs,
        step: ms(stepMs),
        because: isMaterial
          ? `${ms(Math.abs(shiftMs))} ${shiftMs > 0 ? "longer" : "shorter"} in the middle of ${trials}`
          : `no difference of ${ms(stepMs)} or more in the middle of ${trials}`,
      },
    ];
  };

const ms = (value: number): string =>
  value >= FOR_EVER_MS / 2 ? "longer than was waited" : formatDurationNs(value * 1e6);

function words(values: readonly number[]): string {
  const middle = median(values);
  if (middle === null) return "not measured";
  return values.length === 1 ? ms(middle) : `${ms(middle)} (median of ${values.length})`;
}
