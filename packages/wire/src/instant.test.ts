import { expect, test } from "vitest";
import { parseInstantMs } from "./instant.ts";

test("parseInstantMs: given the examples of RFC 3339 section 5.8, then their instants", () => {
  expect(parseInstantMs("1985-04-12T23:20:50.52Z", "It")).toBe(Date.UTC(1985, 3, 12, 23, 20, 50, 520));
  expect(parseInstantMs("1996-12-19T16:39:57-08:00", "It")).toBe(Date.UTC(1996, 11, 20, 0, 39, 57));
  expect(parseInstantMs("1937-01-01T12:00:27.87+00:20", "It")).toBe(Date.UTC(1937, 0, 1, 11, 40, 27, 870));
  expect(parseInstantMs("2028-02-29T22:00Z", "It")).toBe(Date.UTC(2028, 1, 29, 22));
});

test.each([
  "2026-99-99T02:00:00Z", // began at once
  "2026-02-30T02:00:00Z",
  "2026-02-29T02:00:00Z",
  "2026-04-31T02:00:00+02:00",
  "2026-11-25T24:00:00Z",
  "2026-11-25T22:60:00Z",
  "2026-11-25T22:00:61Z",
  "2026-11-25T22:00:00+99:00",
  "2026-11-25",
  "2026-11-25 22:00:00Z",
  "2026-11-25T22Z",
  "T22:00:00Z",
  "soon",
  "",
])("parseInstantMs: given %j, then it is none", (text) => {
  expect(() => parseInstantMs(text, "It")).toThrow(/no date and time/);
});

test("parseInstantMs: given one without its zone, then that is said", () => {
  expect(() => parseInstantMs("2026-11-25T22:00:00", "It")).toThrow(/time zone/);
});
