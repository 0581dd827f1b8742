import { expect, test } from "vitest";
import { instantsAt, nextHour, wallTimeAt } from "./zoned-time.ts";

const iso = (instants: readonly number[]): readonly string[] => instants.map((ms) => new Date(ms).toISOString());

// Time zone database: Berlin is 1 h ahead of UTC in winter, 2 h in summer; in 2026 clocks change on 29 March and 25 October at
// 01:00 UTC. Lord Howe Island changes by half an hour, on 5 April at 02:00 there. Kathmandu is 5 h 45 min ahead.
test.each([
  ["2026-11-29T22:00", "UTC", ["2026-11-29T22:00:00.000Z"]],
  ["2026-11-29T22:00", "Europe/Berlin", ["2026-11-29T21:00:00.000Z"]],
  ["2026-07-01T22:00", "Europe/Berlin", ["2026-07-01T20:00:00.000Z"]],
  ["2026-03-29T02:30", "Europe/Berlin", []],
  ["2026-10-25T02:30", "Europe/Berlin", ["2026-10-25T00:30:00.000Z", "2026-10-25T01:30:00.000Z"]],
  ["2026-04-05T01:45", "Australia/Lord_Howe", ["2026-04-04T14:45:00.000Z", "2026-04-04T15:15:00.000Z"]],
  ["2026-11-29T00:10", "Asia/Kathmandu", ["2026-11-28T18:25:00.000Z"]],
  ["2026-11-29", "UTC", []],
  ["", "UTC", []],
])("instantsAt: given %s in %s, then %j", (text, zone, expected) => {
  expect(iso(instantsAt(text, zone))).toEqual(expected);
});

test("wallTimeAt: given an instant, then what clocks there show", () => {
  expect(wallTimeAt(Date.parse("2026-11-29T21:00:30Z"), "Europe/Berlin")).toBe("2026-11-29T22:00");
});

test("nextHour: given it has passed today, then it is tomorrow's", () => {
  const at = (text: string): number => Date.parse(text);
  expect(nextHour(22, at("2026-11-29T15:00:00Z"), "UTC")).toBe("2026-11-29T22:00");
  expect(nextHour(22, at("2026-11-29T22:00:00Z"), "UTC")).toBe("2026-11-30T22:00");
  expect(nextHour(6, at("2026-11-29T23:30:00Z"), "Europe/Berlin")).toBe("2026-11-30T06:00");
});
