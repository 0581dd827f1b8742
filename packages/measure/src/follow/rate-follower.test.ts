import { expect, test } from "vitest";
import { RateFollower } from "./rate-follower.ts";

test("RateFollower: given 100 B every 100 ms and 3 s of silence, then rate and silence are told, and loss is not", () => {
  const follower = new RateFollower(0);
  for (let i = 0; i < 50; i++) follower.record((i < 25 ? i : i + 30) * 1e8, 100, 8, 0);
  expect(follower.cut(10e9)).toEqual({
    fromNs: 0,
    toNs: 10e9,
    packets: 50,
    receivedBytes: 5000,
    firstArrivalNs: 0,
    lastArrivalNs: 79e8,
    longestSilence: { startNs: 24e8, durationNs: 31e8 },
    lowestRateBps: 0, // the seconds without a packet
    highestRateBps: 8000, // 10 packets of 100 B in a whole second
    ttlMin: 8,
    ttlMax: 8,
  });
});

test("RateFollower: given no packet, then all is unknown", () => {
  expect(new RateFollower(5).cut(6)).toMatchObject({
    packets: 0,
    firstArrivalNs: null,
    longestSilence: null,
    lowestRateBps: null,
    highestRateBps: null,
    ttlMin: null,
  });
});
