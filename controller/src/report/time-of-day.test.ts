import { expect, test } from "vitest";
import { dateAndTime, timeOfDay, zoneAt } from "./time-of-day.ts";

// Offsets by the IANA time zone database, from memory: Berlin an hour ahead in winter and two in summer, St. John's 3.5 behind.
test.each([
  ["Europe/Berlin", "2026-11-29T01:00:00.000Z", "02:00:05", "UTC+01:00", "2026-11-29 02:00:00 UTC+01:00"],
  ["Europe/Berlin", "2026-07-01T22:30:00.000Z", "00:30:05", "UTC+02:00", "2026-07-02 00:30:00 UTC+02:00"],
  ["America/St_Johns", "2026-11-29T01:00:00.000Z", "21:30:05", "UTC-03:30", "2026-11-28 21:30:00 UTC-03:30"],
  ["UTC", "2026-11-29T01:00:00.000Z", "01:00:05", "UTC", "2026-11-29 01:00:00 UTC"],
])(
  "times of a run: given a reader in %s at %s, then the clock of that place, and its zone",
  (zone, iso, clock, says, date) => {
    expect(timeOfDay(iso, 5_900, zone)).toBe(clock);
    expect(zoneAt(iso, zone)).toBe(says);
    expect(dateAndTime(iso, zone)).toBe(date);
  },
);
