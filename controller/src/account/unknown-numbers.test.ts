import { countRanges, intersectRanges, type StreamReceipt, StreamTracker } from "@dyetrace/measure";
import type { IntervalReport, Membership } from "@dyetrace/wire";
import fc from "fast-check";
import { expect, test } from "vitest";
import type { Emission } from "./emissions.ts";
import { joinReceptions, type Reception, receptionsIn } from "./receptions.ts";
import { SentCount } from "./sent-count.ts";
import { numbersIn, numbersOf, type StayNumbers } from "./stay-numbers.ts";

/** 100 packets/s from 1 s to 11 s: number n leaves at 1 s + n x 10 ms, and arrives at once. */
const PACKETS = 1000;
const SENDER = 7;
const sentNs = (seq: number): number => 1e9 + seq * 1e7;
const STRETCHES = [{ startNs: 1e9, endNs: 11e9, rateBps: 80e3, payloadBytes: 100 }];
const EMISSION: Emission = {
  senderId: SENDER,
  senderIds: new Set([SENDER]),
  sentPackets: PACKETS,
  sentBytes: PACKETS * 100,
  firstSeq: 0,
  lastSeq: PACKETS - 1,
  sendErrors: 0,
  lastError: null,
  skippedPackets: 0,
  pacing: null,
  stalls: [],
  stoppedNs: null,
  intervals: Array.from({ length: 10 }, (_, i) => ({
    fromNs: (i + 1) * 1e9,
    toNs: (i + 2) * 1e9,
    firstSeq: i * 100,
    lastSeq: i * 100 + 99,
  })),
};

const HOST = {
  udpRcvbufErrors: 0,
  udpInErrors: 0,
  udp6RcvbufErrors: 0,
  udp6InErrors: 0,
  interfaceRxDropped: 0,
  interfaceRxErrors: 0,
  interfaceTxDropped: 0,
  interfaceTxErrors: 0,
  softnetDropped: 0,
  linkChanges: 0,
  wallClockSteps: 0,
};
const FOREIGN = {
  foreignPackets: 0,
  malformedPackets: 0,
  otherRunPackets: 0,
  otherStreamPackets: 0,
  misdirectedPackets: 0,
  sources: [],
};

function report(second: number, receipt: StreamReceipt, membership: Membership): IntervalReport {
  const listener = { streamId: 1, receipt, memberships: [membership], hostLostPackets: 0, socketStreams: 1 };
  return {
    fromNs: second * 1e9,
    toNs: (second + 1) * 1e9,
    listeners: [{ ...listener, foreign: FOREIGN }],
    senders: [],
    host: HOST,
    sourcesStopped: null,
    totals: null,
  };
}

interface Story {
  readonly isLost: (seq: number) => boolean;
  /** Seconds of which no report arrived. */
  readonly untold: readonly number[];
  /** The agent was killed at the first of these and began anew, with another join, after the last. */
  readonly isRestart: boolean;
}

const END_S = 12;

/** What one listener's agent measures from 0 to 12 s, second by second. */
function reportsOf({ isLost, untold, isRestart }: Story): IntervalReport[] {
  const reports: IntervalReport[] = [];
  let tracker = new StreamTracker({ mediaRateBps: null, seesHostDrops: true });
  let joinRequestedNs = 0;
  for (let second = 0; second < END_S; second++) {
    const isAway = isRestart && untold.includes(second);
    if (isRestart && second > 0 && !isAway && untold.includes(second - 1)) {
      tracker = new StreamTracker({ mediaRateBps: null, seesHostDrops: true });
      joinRequestedNs = second * 1e9;
    }
    for (let seq = (second - 1) * 100; seq < second * 100; seq++) {
      if (seq >= 0 && seq < PACKETS && !isAway && !isLost(seq)) tracker.record(seq, 0, sentNs(seq), 100, SENDER, 1, 0);
    }
    const isLast = second === END_S - 1;
    const membership = {
      joinRequestedNs,
      firstPacketNs: null,
      lastPacketNs: null,
      leaveRequestedNs: isLast ? 12e9 : null,
    };
    const receipt = isLast ? tracker.finish() : tracker.cut();
    if (!untold.includes(second)) reports.push(report(second, receipt, membership));
  }
  return reports;
}

function numbersTold(receptions: readonly Reception[]): StayNumbers {
  const reception = joinReceptions(receptions);
  if (reception === null) throw new Error("It told something");
  const join = { stream: "board", agent: "kiosk", fromNs: 0, toNs: null };
  const source = { emission: EMISSION, stretches: STRETCHES, sent: new SentCount(EMISSION, STRETCHES) };
  const stream = { payloadBytes: 100, rateBps: 80e3 } as Parameters<typeof numbersOf>[1];
  return numbersOf(join, stream, reception, source, null);
}

const has = (ranges: readonly (readonly [number, number])[], seq: number): boolean =>
  ranges.some(([first, last]) => first <= seq && seq <= last);

const losses = fc.oneof(
  fc.constant(() => false),
  fc.integer({ min: 0, max: PACKETS }).map((from) => (seq: number) => seq >= from),
  fc.tuple(fc.integer({ min: 0, max: PACKETS }), fc.integer({ min: 1, max: 400 })).map(
    ([from, count]) =>
      (seq: number) =>
        seq >= from && seq < from + count,
  ),
  fc.uniqueArray(fc.integer({ min: 0, max: PACKETS - 1 }), { maxLength: 60 }).map((all) => {
    const set = new Set(all);
    return (seq: number) => set.has(seq);
  }),
);

test("unknownNumbers: given any losses and any reports that never arrived, then what is called lost is lost, what is called received was, and the rest is of that time", () => {
  fc.assert(
    fc.property(
      losses,
      fc.uniqueArray(fc.integer({ min: 1, max: 11 }), { minLength: 1, maxLength: 6 }),
      (isLost, untold) => {
        const told = reportsOf({ isLost, untold, isRestart: false });
        const { window, unknown, missing } = numbersTold(receptionsIn(told).get(1) ?? []);
        const lost = numbersIn(missing);
        expect(intersectRanges(lost, unknown)).toEqual([]);
        for (let seq = window?.[0] ?? 0; seq <= (window?.[1] ?? -1); seq++) {
          if (!has(unknown, seq)) expect(has(lost, seq), `number ${seq}`).toBe(isLost(seq));
        }
        // Before each break a gap, and what came after it, may stay open for the reorder time of 1 s; then comes what was
        // under way.
        const breaks = untold.filter((second) => !untold.includes(second - 1)).length;
        const open = Array.from({ length: PACKETS }, (_, seq) => seq).filter(isLost).length;
        expect(countRanges(unknown)).toBeLessThanOrEqual(100 * untold.length + 130 * breaks + open);
      },
    ),
    { numRuns: 100 },
  );
});

test("unknownNumbers: given an agent that was away from 4 to 7 s and went on, then what was sent then is unknown and nothing is lost", () => {
  const told = reportsOf({ isLost: () => false, untold: [4, 5, 6], isRestart: false });
  const { window, unknown, missing } = numbersTold(receptionsIn(told).get(1) ?? []);
  expect([window, missing]).toEqual([[0, 999], []]);
  expect(countRanges(unknown)).toBeGreaterThan(290);
  expect(countRanges(unknown)).toBeLessThan(315);
});

test("unknownNumbers: given an agent that was lost after 5 s, then what it told of until then stands, a cut before that included", () => {
  const told = reportsOf({ isLost: (seq) => seq >= 200, untold: [5, 6, 7, 8, 9, 10, 11], isRestart: false });
  const { window, unknown, missing } = numbersTold(receptionsIn(told).get(1) ?? []);
  expect(window).toEqual([0, 999]);
  const [[first, last] = [0, 0]] = numbersIn(missing);
  expect(first).toBeLessThanOrEqual(202);
  // It reported up to 5 s: number 400.
  expect(last).toBeGreaterThan(380);
  expect(last).toBeLessThan(400);
  expect(unknown.at(-1)?.[1]).toBe(999);
});

test("unknownNumbers: given an agent that was killed at 4 s and joined again at 7 s, then both parts stand and nothing is lost", () => {
  const told = reportsOf({ isLost: () => false, untold: [4, 5, 6], isRestart: true });
  const { window, unknown, missing } = numbersTold(receptionsIn(told).get(1) ?? []);
  expect([window, missing]).toEqual([[0, 999], []]);
  expect(countRanges(unknown)).toBeGreaterThan(290);
  expect(countRanges(unknown)).toBeLessThan(315);
});

test("unknownNumbers: given no report missing, then nothing is unknown", () => {
  const told = reportsOf({ isLost: (seq) => seq % 7 === 0, untold: [], isRestart: false });
  expect(numbersTold(receptionsIn(told).get(1) ?? []).unknown).toEqual([]);
});
