import { expect, test } from "vitest";
import { seededRandom } from "../../../../tests/simulation/seeded-random.ts";
import type { StreamObservation, TimeSpan } from "./run-observations.ts";
import { firstSeqSince, sendTimeMs } from "./send-time.ts";

const stream = (lastSeq: number, endMs: number, stalls: readonly TimeSpan[]): StreamObservation => ({
  stream: "board",
  group: "233.252.0.1",
  source: "tower",
  ssm: false,
  sourceState: stalls.length > 0 ? "stalled" : "sending",
  sentPackets: lastSeq + 1,
  steps: [{ firstSeq: 0, lastSeq, startMs: 0, endMs, payloadBytes: 500, rateBps: 400_000 }],
  unsent: [],
  firstSentMs: 0,
  lastSentMs: endMs,
  stalls,
  ttl: 16,
  dscp: 0,
});

test("sendTimeMs: given no stall, then numbers are spaced evenly over the step", () => {
  const even = stream(1_000, 10_000, []);
  expect([0, 1, 500, 1_000, 1_001].map((seq) => sendTimeMs(even, seq))).toEqual([0, 10, 5_000, 10_000, 10_010]);
  expect([-5, 0, 1, 4_995, 10_000].map((atMs) => firstSeqSince(even, atMs))).toEqual([0, 0, 1, 500, 1_000]);
  expect(firstSeqSince(even, 10_001)).toBeNull();
});

// Sending 10 ms apart, with nothing for 3 s after number 200: told by the clock that the sending itself keeps.
test("sendTimeMs: given a stall of 3 s, then what came before it keeps its time and what came after is later by the stall", () => {
  const stalled = stream(700, 10_000, [{ startMs: 2_000, endMs: 5_000 }]);
  expect([0, 200, 201, 700].map((seq) => sendTimeMs(stalled, seq))).toEqual([0, 2_000, 5_010, 10_000]);
  expect([2_000, 2_500, 5_000, 5_010, 5_015].map((atMs) => firstSeqSince(stalled, atMs))).toEqual([
    200, 201, 201, 201, 202,
  ]);
});

test("sendTimeMs: given stalls at any times, then every number has the time at which a sender with these stalls sends it", () => {
  const random = seededRandom(9);
  for (let round = 0; round < 200; round++) {
    const stalls: TimeSpan[] = [];
    for (let fromMs = 0; stalls.length < 1 + 3 * random(); ) {
      const startMs = fromMs + Math.round(300 * random()) * 10;
      stalls.push({ startMs, endMs: startMs + Math.round(100 * random() + 1) * 10 });
      fromMs = stalls.at(-1)?.endMs ?? 0;
    }
    const sentMs: number[] = [];
    for (let atMs = 0, stalledMs = 0, stall = 0; sentMs.length <= 1_000; atMs += 10) {
      sentMs.push(atMs + stalledMs);
      for (let next = stalls[stall]; next !== undefined && atMs + 10 + stalledMs > next.startMs; next = stalls[++stall])
        stalledMs += next.endMs - next.startMs;
    }
    const told = stream(
      1_000,
      sentMs.at(-1) ?? 0,
      stalls.filter(({ endMs }) => endMs < (sentMs.at(-1) ?? 0)),
    );
    for (const seq of [0, 1, 137, 500, 999, 1_000]) {
      const expected = sentMs[seq] ?? 0;
      expect(sendTimeMs(told, seq)).toBeCloseTo(expected, 6);
      expect(firstSeqSince(told, expected - 0.001)).toBe(seq);
    }
  }
});
