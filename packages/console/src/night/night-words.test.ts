import { expect, test } from "vitest";
import { clockTicks } from "./clock-ticks.ts";
import { sayDelivered, sayIncidents, sayStrip, worstFirst } from "./night-words.ts";

test.each([
  [0, 0, "No packet was counted anywhere."],
  [1, 0, "1 packet was received, none was lost."],
  [99_999, 1, "99\u202f999 packets were received, 1 was lost (0.001 %)."],
])("sayDelivered: given %d received and %d lost, then %s", (received, lost, says) => {
  expect(sayDelivered({ received, lost, strips: [] })).toBe(says);
});

test("sayDelivered: given two listeners without a packet, then it does not say that nothing was lost without naming them", () => {
  const strips = ["kiosk-1", "kiosk-2", "office"].map((listener) => ({
    ...{ stream: "board", listener },
    cells: listener === "office" ? "--" : "..",
  }));
  expect(sayDelivered({ received: 665, lost: 0, strips })).toBe(
    "No packet was counted at kiosk-1, kiosk-2. Elsewhere 665 packets were received, none was lost.",
  );
});

test.each([
  [0, "No incident."],
  [1, "1 incident."],
  [1200, "1\u202f200 incidents."],
])("sayIncidents: given %d, then %s", (count, says) => {
  expect(sayIncidents(count)).toBe(says);
});

test("clockTicks: given a night from 22:10 to 06:10, then round hours of the wall clock", () => {
  const start = Date.parse("2026-11-29T21:10:00Z");
  const ticks = clockTicks(start, 8 * 3_600_000, 9, 3_600_000); // clocks an hour ahead of UTC
  expect(ticks.map(({ label }) => label)).toEqual([
    "23:00",
    "00:00",
    "01:00",
    "02:00",
    "03:00",
    "04:00",
    "05:00",
    "06:00",
  ]);
  expect(ticks[0]?.atMs).toBe(50 * 60_000);
});

test("clockTicks: given any span, then no more than were asked for", () => {
  for (const minutes of [1, 7, 61, 500, 3000, 100_000]) {
    expect(clockTicks(0, minutes * 60_000, 8, 0).length, String(minutes)).toBeLessThanOrEqual(9);
  }
});

test("worstFirst and sayStrip: given strips, then the one that lost most is first, and its cells are told", () => {
  const strips = [
    { stream: "board", listener: "a", cells: "--1-." },
    { stream: "board", listener: "b", cells: "--4--" },
  ];
  const [worst, other] = worstFirst(strips);
  expect(worst?.listener).toBe("b");
  expect(worst === undefined ? "" : sayStrip(worst)).toBe("nothing lost in 4 cells, 1 % or more lost in 1 cell");
  expect(other === undefined ? "" : sayStrip(other)).toContain("no packet counted in 1 cell");
});
