import { execFileSync } from "node:child_process";
import { fileURLToPath } from "node:url";
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
  for (const text of ["24:00", "22", "soon", "", "2026-99-99T02:00:00Z", "2026-11-25", "2026-11-25T22:00:00"]) {
    expect(() => nextTimeOfDay(text, 0, "--at"), text).toThrow(expect.objectContaining({ code: "OPTION_INVALID" }));
  }
});

/** The zone of a process is settled as it starts, so each case is asked of one of its own, all cases at once. */
function askIn(zone: string, cases: readonly (readonly [text: string, after: string])[]): string[] {
  const compiled = fileURLToPath(new URL("../../../dist/commands/arguments/time-of-day.js", import.meta.url));
  const program = `
    const { nextTimeOfDay } = await import(${JSON.stringify(compiled)});
    const answers = ${JSON.stringify(cases)}.map(([text, after]) => {
      try {
        return new Date(nextTimeOfDay(text, Date.parse(after), "--at")).toISOString().slice(0, 16);
      } catch (fault) {
        return fault.message + ". " + fault.hint;
      }
    });
    process.stdout.write(JSON.stringify(answers));`;
  const env = { ...process.env, TZ: zone };
  return JSON.parse(execFileSync(process.execPath, ["--input-type=module", "-e", program], { env, encoding: "utf8" }));
}

// Directive 2000/84/EC: from the last Sunday of March, 01:00 UTC, to the last Sunday of October, 01:00 UTC.
test("nextTimeOfDay: given the days on which clocks are put forward and back in Berlin, then no time is guessed", () => {
  expect(
    askIn("Europe/Berlin", [
      ["22:00", "2026-03-28T12:00:00Z"],
      ["04:00", "2026-03-28T12:00:00Z"],
      ["02:30", "2026-03-28T12:00:00Z"],
      ["02:30", "2026-03-29T12:00:00Z"],
      ["02:30", "2026-03-27T12:00:00Z"],
      ["04:00", "2026-10-24T12:00:00Z"],
      ["01:59", "2026-10-24T12:00:00Z"],
      ["02:30", "2026-10-24T12:00:00Z"],
      ["03:00", "2026-10-24T12:00:00Z"],
    ]),
  ).toEqual([
    "2026-03-28T21:00",
    "2026-03-29T02:00",
    "--at 02:30: clocks are put forward past that time on Sun Mar 29 2026. Write the whole instant: 2026-03-29T01:30:00Z",
    "2026-03-30T00:30",
    "2026-03-28T01:30",
    "2026-10-25T03:00",
    "2026-10-24T23:59",
    "--at 02:30: clocks are put back on Sun Oct 25 2026 and show that time twice. Write the whole instant: 2026-10-25T00:30:00Z or 2026-10-25T01:30:00Z",
    "2026-10-25T02:00",
  ]);
});

// Half an hour, from the first Sunday of October to the first of April (time zone database, Australia/Lord_Howe).
test("nextTimeOfDay: given a zone that is put back by half an hour, then what is shown twice is refused there as well", () => {
  const [twice = "", once] = askIn("Australia/Lord_Howe", [
    ["01:45", "2026-04-04T10:00:00Z"],
    ["02:15", "2026-04-04T10:00:00Z"],
  ]);
  expect(twice).toContain("2026-04-04T14:45:00Z or 2026-04-04T15:15:00Z");
  expect(once).toBe("2026-04-04T15:45");
});
