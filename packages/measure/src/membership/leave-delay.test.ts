import { expect, test } from "vitest";
import { type LeaveObservation, leaveDelay } from "./leave-delay.ts";

const S = 1e9;
const leave: LeaveObservation = {
  leaveNs: 20 * S,
  frameBeforeNs: 19.9999 * S,
  lastFrameNs: 22.00085 * S,
  sourceStoppedNs: null,
  packetIntervalNs: 1e6,
  untilNs: 30 * S,
};

// RFC 3918 6.2 and the example computed from it: leave at 20.000000 s, last frame at 22.000850 s
test("leave delay: given a leave and a last frame, then the delay is the time between", () => {
  expect(leaveDelay(leave)).toEqual({ kind: "measured", delayNs: 2_000_850_000, resolutionNs: 1e6 });
});

test("leave delay: given no frame after the leave, then it is 0 within one packet interval", () => {
  expect(leaveDelay({ ...leave, lastFrameNs: null })).toEqual({ kind: "measured", delayNs: 0, resolutionNs: 1e6 });
});

test("leave delay: given frames until the end of the watch or of the source, then only a lower bound is known", () => {
  expect(leaveDelay({ ...leave, lastFrameNs: 29.999 * S })).toEqual({ kind: "still-flowing", atLeastNs: 10 * S });
  expect(leaveDelay({ ...leave, sourceStoppedNs: 22.001 * S })).toMatchObject({
    kind: "still-flowing",
    atLeastNs: expect.closeTo(2.001 * S, 0),
  });
});

test("leave delay: given a stream that did not flow at the leave, then the trial is void", () => {
  expect(leaveDelay({ ...leave, frameBeforeNs: 15 * S })).toEqual({ kind: "not-flowing" });
  expect(leaveDelay({ ...leave, frameBeforeNs: null })).toEqual({ kind: "not-flowing" });
});

test("leave delay: given no leave on the wire, then there is nothing to measure from", () => {
  expect(leaveDelay({ ...leave, leaveNs: null })).toEqual({ kind: "no-leave" });
});

test("leave delay: given a slow stream, then ten of its packets must stay away before it has ended", () => {
  const slow = { ...leave, packetIntervalNs: 0.5 * S, lastFrameNs: 26 * S };
  expect(leaveDelay(slow)).toMatchObject({ kind: "still-flowing" });
  expect(leaveDelay({ ...slow, lastFrameNs: 22 * S })).toMatchObject({ kind: "measured", resolutionNs: 0.5 * S });
});
