import { expect, test } from "vitest";
import { type Arrival, NOTHING_KNOWN, totalReceipt, track } from "./track-arrivals.ts";

/**
 * One second of RFC 4445: `times` are in ms after the last packet of the second before. That second and the one after
 * hold one packet each, so that the middle one has a delay factor.
 */
function second(times: readonly (number | null)[], sizeBytes = 1000): Arrival[] {
  const lastBeforeMs = 1999;
  const middle = times.flatMap((time, i) =>
    time === null ? [] : [{ seq: i + 1, arrivalMs: lastBeforeMs + time, sizeBytes }],
  );
  return [
    { seq: 0, arrivalMs: lastBeforeMs, sizeBytes },
    ...middle,
    { seq: times.length + 1, arrivalMs: 3500, sizeBytes },
  ];
}

// Virtual buffer by the formula of RFC 4445, section 3; media rate 0.8 Mb/s, packets of 1000 B. Computed by hand.
test.each([
  { name: "evenly spaced packets", times: [10, 20, 30, 40, 50], delayFactorMs: 10, lossMax: 0 },
  { name: "late and bunched packets", times: [10, 20, 50, 50, 50], delayFactorMs: 30, lossMax: 0 },
  { name: "an early bunch", times: [10, 12, 14, 40, 50], delayFactorMs: 26, lossMax: 0 },
  { name: "a lost packet", times: [10, 20, null, 40, 50], delayFactorMs: 20, lossMax: 1 },
  { name: "one burst", times: [50, 50, 50, 50, 50], delayFactorMs: 50, lossMax: 0 },
])("delay factor: given $name, then it is $delayFactorMs ms", ({ times, delayFactorMs, lossMax }) => {
  const total = totalReceipt(track(second(times), 800_000), NOTHING_KNOWN);
  expect(total.delayFactorMaxMs).toBeCloseTo(delayFactorMs, 6);
  expect(total.mediaLossMaxPps).toBe(lossMax);
});

test.each([
  { rateBps: 3_750_000, delayFactorMs: 2.8075 }, // the rate in the text of RFC 4445
  { rateBps: 4_000_000, delayFactorMs: 2.632 },
  { rateBps: 8_000_000, delayFactorMs: 1.316 },
])(
  "delay factor: given evenly spaced datagrams of 1316 B at $rateBps b/s, then it is one datagram's time",
  (example) => {
    const intervalMs = (1316 * 8 * 1e3) / example.rateBps;
    const arrivals = Array.from({ length: 2000 }, (_, seq) => ({ seq, arrivalMs: seq * intervalMs, sizeBytes: 1316 }));
    const total = totalReceipt(track(arrivals, example.rateBps), NOTHING_KNOWN);
    expect(total.delayFactorMaxMs).toBeCloseTo(example.delayFactorMs, 3);
  },
);

test("delay factor: given the first second alone, then there is none", () => {
  // RFC 4445, section 3: the values are relative to the second before.
  expect(totalReceipt(track(second([]).slice(0, 1), 800_000), NOTHING_KNOWN).delayFactorMaxMs).toBeNull();
});

test("delay factor: given a silence of seconds, then the value before stands and the silence does not count as delay", () => {
  // RFC 4445, section 3: an interval without a packet repeats the last value.
  const arrivals = [...second([10, 20, 30, 40, 50]).slice(0, -1), { seq: 6, arrivalMs: 9500, sizeBytes: 1000 }];
  arrivals.push({ seq: 7, arrivalMs: 10_001, sizeBytes: 1000 });
  expect(totalReceipt(track(arrivals, 800_000), NOTHING_KNOWN)).toMatchObject({
    delayFactorMaxMs: 10,
  });
});

test("delay factor: given no media rate, then it is unknown", () => {
  expect(totalReceipt(track(second([10, 20])), NOTHING_KNOWN).delayFactorMaxMs).toBeNull();
});

test("media loss: given packets out of order, then they count as lost ones do, once each", () => {
  // RFC 4445, section 3: lost or out-of-order packets in the interval
  const at = (seq: number, arrivalMs: number): Arrival => ({ seq, arrivalMs, sizeBytes: 1000 });
  const arrivals = [at(0, 1999), at(2, 2010), at(1, 2011), at(5, 2020), at(6, 3500)];
  expect(totalReceipt(track(arrivals, 800_000), NOTHING_KNOWN)).toMatchObject({ mediaLossMaxPps: 3, lost: 2 });
});
