import type { Night } from "@dyetrace/wire";
import { expect, test } from "vitest";
import { clockTicks } from "./clock-ticks.ts";
import { sayCounted, sayIncidents, sayStrip, unwatchedAlike } from "./night-words.ts";

test.each([
  [0, 0, "No packet was counted."],
  [1, 0, "1 packet was received."],
  [99_999, 1, "99\u202f999 packets were received, 1 was lost (0.001 %)."],
])("sayCounted: given %d received and %d lost, then %s", (received, lost, says) => {
  expect(sayCounted({ received, lost })).toBe(says);
});

test.each([
  [null, null, "How many packets came is not known, how many were lost is not known."],
  [5000, null, "5000 packets received, how many were lost is not known."],
  [null, 7, "How many packets came is not known, 7 lost on the way."],
])(
  "sayCounted: given streams that were followed with %s received and %s lost, then what is not known is said",
  (received, lost, says) => {
    expect(sayCounted({ received, lost })).toBe(says);
  },
);

test.each([
  [0, {}, "No incident."],
  [1, {}, "1 incident."],
  [1200, {}, "1200 incidents."],
  [0, { followsOthers: true, lost: null }, "No incident that an agent can tell by itself."],
  [0, { followsOthers: true, lost: 0 }, "No incident was found."],
  [0, { followsOthers: true, lost: 702, hasLossIncidents: false }, "No incident beside losses was found."],
])("sayIncidents: given %d, %j, then %s", (count, about, says) => {
  const incidents = Array.from({ length: count }, () => ({})) as unknown as Night["incidents"];
  expect(sayIncidents({ incidents, lost: 0, ...about })).toBe(says);
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

test("sayStrip: given a strip, then each kind of cell is counted in words", () => {
  expect(sayStrip({ cells: "--4-5." })).toBe(
    "everything came in 3 cells, 1 % or more in 1 cell, nothing came in 1 cell, not measured in 1 cell",
  );
});

test("unwatchedAlike: given thirteen hosts that were never there and one that was away, then two entries, the thirteen first", () => {
  const never = Array.from({ length: 13 }, (_, index) => `kiosk-${index}`);
  const alike = unwatchedAlike([
    { agent: "till", fromMs: 2000, toMs: 3000, why: "away" },
    ...never.map((agent) => ({ agent, fromMs: 0, toMs: 9000, why: "never-there" as const })),
  ]);
  expect(alike).toEqual([
    { agents: never, fromMs: 0, toMs: 9000, why: "never-there" },
    { agents: ["till"], fromMs: 2000, toMs: 3000, why: "away" },
  ]);
});
