import { expect, test } from "vitest";
import { nextTimeOfDay } from "./time-of-day.ts";

const at = (hours: number, minutes: number, day = 10): number => new Date(2026, 0, day, hours, minutes).getTime();

test("nextTimeOfDay: given a time that is still to come today, then today's; given one that is past, then tomorrow's", () => {
  expect(nextTimeOfDay("22:00", at(21, 0), "--at")).toBe(at(22, 0));
  expect(nextTimeOfDay("6:30", at(22, 0), "--until")).toBe(at(6, 30, 11));
  expect(nextTimeOfDay("22:00", at(22, 0), "--at")).toBe(at(22, 0, 11));
});

test("nextTimeOfDay: given a whole instant, then that one; given one that is past or no time at all, then a Fault", () => {
  expect(nextTimeOfDay("2026-11-25T22:00:00Z", 0, "--at")).toBe(Date.UTC(2026, 10, 25, 22));
  expect(() => nextTimeOfDay("2020-01-01T00:00:00Z", at(1, 1), "--at")).toThrow(/is past/);
  for (const text of ["24:00", "22", "soon", ""]) {
    expect(() => nextTimeOfDay(text, 0, "--at")).toThrow(expect.objectContaining({ code: "OPTION_INVALID" }));
  }
});
