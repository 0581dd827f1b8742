import { expect, test } from "vitest";
import { isAmongPorts, parsePortRange } from "./port-range.ts";

test("parsePortRange: given a port, or one and the last, then from the first to the last", () => {
  expect(parsePortRange("48620")).toEqual({ first: 48_620, last: 48_620 });
  expect(parsePortRange("49152-65535")).toEqual({ first: 49_152, last: 65_535 });
  expect(parsePortRange("1 - 2")).toEqual({ first: 1, last: 2 });
});

test.each(["", "0", "65536", "5-4", "1-65536", "-5", "5-", "1.5", "0x10", "1-2-3", "any"])(
  "parsePortRange: given %j, then it is no range",
  (text) => expect(() => parsePortRange(text)).toThrow(/no range of ports/),
);

test("isAmongPorts: given ranges, then both ends belong to them, and none belongs to no range", () => {
  expect([9, 10, 12, 13].map((port) => isAmongPorts(port, ["10-12"]))).toEqual([false, true, true, false]);
  expect(isAmongPorts(48_620, [])).toBe(false);
});
