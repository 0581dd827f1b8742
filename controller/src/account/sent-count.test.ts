import { expect, test } from "vitest";
import { SentCount } from "./sent-count.ts";

/** 100 packets/s from 0.5 s to 2.5 s, nothing until 4 s, then 50 packets/s to 5 s. */
const STRETCHES = [
  { startNs: 0.5e9, endNs: 2.5e9, rateBps: 80_000, payloadBytes: 100 },
  { startNs: 4e9, endNs: 5e9, rateBps: 40_000, payloadBytes: 100 },
];
/** Reported by the second; the source skipped ten numbers' worth in the third. */
const intervals = [
  { fromNs: 0, toNs: 1e9, firstSeq: 0, lastSeq: 49 },
  { fromNs: 1e9, toNs: 2e9, firstSeq: 50, lastSeq: 149 },
  { fromNs: 2e9, toNs: 3e9, firstSeq: 150, lastSeq: 189 },
  { fromNs: 4e9, toNs: 5e9, firstSeq: 190, lastSeq: 239 },
];
const sent = new SentCount({ intervals }, STRETCHES);

test("SentCount: given an interval in which the source begins, then its numbers run from there and not from the interval's start", () => {
  expect([0.2e9, 0.5e9, 0.75e9, 1e9].map((atNs) => sent.nextAt(atNs))).toEqual([0, 0, 25, 50]);
});

test("SentCount: given a count that differs from the schedule, then the count holds at the interval's ends", () => {
  expect([2e9, 2.25e9, 2.5e9, 2.9e9].map((atNs) => sent.nextAt(atNs))).toEqual([150, 170, 190, 190]);
});

test("SentCount: given a pause and a slower stretch, then numbers stand still and go on at the new pace", () => {
  expect([3.5e9, 4e9, 4.5e9, 5e9, 9e9].map((atNs) => sent.nextAt(atNs))).toEqual([190, 190, 215, 240, 240]);
  expect([sent.isPause(2.6e9, 3.9e9), sent.isPause(2.4e9, 2.6e9), sent.isPause(0, 0.4e9)]).toEqual([true, false, true]);
});
