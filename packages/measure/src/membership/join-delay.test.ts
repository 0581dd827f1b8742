import { expect, test } from "vitest";
import { delayDistribution } from "./delay-distribution.ts";
import { type JoinObservation, joinDelay } from "./join-delay.ts";

const S = 1e9;
const join: JoinObservation = {
  requestedNs: 9.99 * S,
  reportNs: 10 * S,
  canSeeReports: true,
  firstFrameNs: 10.00325 * S,
  frameBeforeNs: null,
  sendingSinceNs: 0,
  packetIntervalNs: 1e6,
  untilNs: 30 * S,
};

// RFC 3918 6.1 and the example computed from it: report ends at 10.000000 s, first frame at 10.003250 s
test("join delay: given a report and a first frame, then the delay is the time between, known to one packet interval", () => {
  expect(joinDelay(join)).toEqual({ kind: "measured", delayNs: 3_250_000, resolutionNs: 1e6, since: "report" });
});

test("join delay: given nobody who sees reports, then it counts from the request and says so", () => {
  expect(joinDelay({ ...join, reportNs: null, canSeeReports: false })).toEqual({
    kind: "measured",
    delayNs: 13_250_000,
    resolutionNs: 1e6,
    since: "request",
  });
});

test("join delay: given frames just before the join, or before the report, then it opened nothing", () => {
  expect(joinDelay({ ...join, frameBeforeNs: 9.95 * S })).toEqual({ kind: "already-flowing" });
  expect(joinDelay({ ...join, firstFrameNs: 9.995 * S })).toEqual({ kind: "already-flowing" });
  expect(joinDelay({ ...join, frameBeforeNs: 5 * S })).toMatchObject({ kind: "measured" }); // an earlier stay
});

test("join delay: given a source that began after the report, then there is no delay to measure", () => {
  expect(joinDelay({ ...join, sendingSinceNs: 10.001 * S })).toEqual({ kind: "source-late" });
});

test("join delay: given no report or no packet, then that is the answer, not a delay", () => {
  expect(joinDelay({ ...join, reportNs: null })).toEqual({ kind: "no-report" });
  expect(joinDelay({ ...join, firstFrameNs: null })).toEqual({ kind: "no-packet", waitedNs: 20 * S });
});

// Nearest rank: the k-th smallest with k the share of the number of values, rounded up
test("delay distribution: given 1 to 20 ms, then the median is 10 and the 95th percentile 19", () => {
  const measured = Array.from({ length: 20 }, (_, i) => ({ delayNs: (20 - i) * 1e6, resolutionNs: 1e6 }));
  expect(delayDistribution(measured)).toEqual({
    trials: 20,
    minNs: 1e6,
    medianNs: 10e6,
    p95Ns: 19e6,
    maxNs: 20e6,
    resolutionNs: 1e6,
  });
});

test("delay distribution: given one value, then it is all of them; given none, then null", () => {
  expect(delayDistribution([{ delayNs: 5, resolutionNs: 1 }])).toMatchObject({
    minNs: 5,
    medianNs: 5,
    p95Ns: 5,
    maxNs: 5,
  });
  expect(delayDistribution([])).toBeNull();
});
