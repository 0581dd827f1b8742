import { expect, test } from "vitest";
import { readSchedule, type ScheduleDraft } from "./schedule-draft.ts";

const NOW = Date.parse("2026-03-28T15:00:00Z");
const draft = (parts: Partial<ScheduleDraft>): ScheduleDraft => ({
  isLater: true,
  start: "2026-03-28T22:00",
  end: "2026-03-29T06:00",
  zone: "Europe/Berlin",
  withinMinutes: 15,
  ...parts,
});

test("readSchedule: given the night in which clocks are put forward, then it is an hour shorter", () => {
  const read = readSchedule(draft({}), NOW);
  if (read.kind !== "later") throw new Error(read.kind);
  expect(((read.endMs ?? 0) - read.startMs) / 3_600_000).toBe(7); // time zone database: 29 March 2026, 01:00 UTC
});

test.each([
  [{ start: "2026-03-29T02:30" }, "put forward past 02:30"],
  [{ start: "2026-03-28T15:59" }, "The start is past"],
  [{ end: "2026-03-28T21:00" }, "before the start"],
  [{ start: "" }, "no date and time yet"],
])("readSchedule: given %j, then it says what is wrong", (parts, words) => {
  expect(readSchedule(draft(parts), NOW)).toMatchObject({ kind: "wrong", says: expect.stringContaining(words) });
});

test("readSchedule: given a start that clocks show twice, then the first is meant, and that is said", () => {
  const read = readSchedule(draft({ start: "2026-10-25T02:30", end: "" }), NOW);
  expect(read).toMatchObject({ kind: "later", startMs: Date.parse("2026-10-25T00:30:00Z"), endMs: null });
  expect(read).toMatchObject({ note: expect.stringContaining("twice") });
});

test("readSchedule: given it shall start at once, then times do not matter", () => {
  expect(readSchedule(draft({ isLater: false, start: "" }), NOW)).toEqual({ kind: "at-once" });
});
