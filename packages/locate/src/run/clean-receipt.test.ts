import { expect, test } from "vitest";
import { seededRandom } from "../../../../tests/simulation/seeded-random.ts";
import { cleanReceipt, type PlacedReceipt } from "./clean-receipt.ts";
import type { ListenerObservation, SeqRange, StreamObservation } from "./run-observations.ts";

/** One packet every 10 ms from second 1 to second 31. */
const stream: StreamObservation = {
  stream: "board",
  group: "233.252.0.1",
  source: "tower",
  ssm: false,
  sourceState: "sending",
  sentPackets: 3_001,
  steps: [{ firstSeq: 0, lastSeq: 3_000, startMs: 1_000, endMs: 31_000, payloadBytes: 500, rateBps: 400_000 }],
  unsent: [],
  firstSentMs: 1_000,
  lastSentMs: 31_000,
  stalls: [],
  ttl: 16,
  dscp: 0,
};

const listener = (joinedFromMs: number, lost: readonly SeqRange[]): ListenerObservation => ({
  stream: "board",
  host: "kiosk",
  state: "reported",
  joinedFromMs,
  joinedToMs: null,
  receivedPackets: 3_001 - lost.reduce((sum, [first, last]) => sum + last - first + 1, 0),
  window: [0, 3_000],
  lost,
  hostLostPackets: 0,
  lastArrivalMs: 31_000,
  silences: [],
  ttlSeen: 16,
  dscpSeen: 0,
  unicastRatio: 0,
  nicFrames: null,
  foreignPackets: 0,
  companion: null,
});

const receiptOf = (joinedFromMs: number, lost: readonly SeqRange[]): PlacedReceipt =>
  cleanReceipt(stream, listener(joinedFromMs, lost), 0) as PlacedReceipt;

// Settling takes 2 s at most: a host repeats its report once within 1 s (RFC 3376, sections 8.1 and 8.11), and as long
// again for the switch to act on it, which is common practice, no source.
test("cleanReceipt: given a join 1 s before the first packet and a gap from there into mid-run, then only the first second is the join's", () => {
  const receipt = receiptOf(0, [[0, 1_199]]);
  expect(receipt.window).toEqual([100, 3_000]);
  expect(receipt.lost).toEqual([[100, 1_199]]);
  expect(receipt.lostPackets).toBe(1_100);
});

test("cleanReceipt: given a gap that ends before the join can have settled, then nothing was lost", () => {
  const receipt = receiptOf(0, [[0, 80]]);
  expect(receipt.window).toEqual([81, 3_000]);
  expect(receipt.lost).toEqual([]);
});

test("cleanReceipt: given a join long before the first packet, then every missing number counts", () => {
  expect(receiptOf(-5_000, [[0, 80]]).lost).toEqual([[0, 80]]);
});

test("cleanReceipt: given any join and any gap at the head, then lost is what was sent 2 s or more after the join, and nothing else", () => {
  const random = seededRandom(14);
  for (let round = 0; round < 200; round++) {
    const joinedFromMs = Math.round(random() * 12_000) - 4_000;
    const gapLast = Math.floor(random() * 2_900);
    const isSettled = (seq: number): boolean => 1_000 + 10 * seq >= joinedFromMs + 2_000;
    const expected = Array.from({ length: gapLast + 1 }, (_, seq) => seq).filter(isSettled);
    const { lost, lostPackets } = receiptOf(joinedFromMs, [[0, gapLast]]);
    expect(lostPackets).toBe(expected.length);
    expect(lost[0]?.[0]).toBe(expected[0]);
  }
});

test("cleanReceipt: given numbers that nobody can tell of, then they are neither lost nor counted, and at the ends not in the window", () => {
  const told = (lost: readonly SeqRange[], unknown: readonly SeqRange[]): PlacedReceipt =>
    cleanReceipt(stream, { ...listener(-5_000, lost), unknown }, 0) as PlacedReceipt;
  const inside = told(
    [
      [100, 249],
      [500, 599],
    ],
    [[100, 199]],
  );
  expect([inside.window, inside.lost]).toEqual([
    [0, 3_000],
    [
      [200, 249],
      [500, 599],
    ],
  ]);
  expect([inside.sentPackets, inside.lostPackets]).toEqual([2_901, 150]);
  const atEnds = told(
    [
      [0, 99],
      [2_800, 3_000],
    ],
    [
      [0, 49],
      [50, 99],
      [2_900, 3_000],
    ],
  );
  expect([atEnds.window, atEnds.lost]).toEqual([[100, 2_899], [[2_800, 2_899]]]);
  expect([atEnds.sentPackets, atEnds.lostPackets]).toEqual([2_800, 100]);
  expect(cleanReceipt(stream, { ...listener(0, [[0, 3_000]]), unknown: [[0, 3_000]] }, 0)).toBeNull();
});
