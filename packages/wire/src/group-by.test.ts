import { expect, test } from "vitest";
import { groupBy } from "./group-by.ts";

test("groupBy: given items of several keys, then each key has its own, in order", () => {
  const groups = groupBy(["kiosk", "hall", "gate", "kerb", "gangway"], (name) => name[0]);
  expect([...groups]).toEqual([
    ["k", ["kiosk", "kerb"]],
    ["h", ["hall"]],
    ["g", ["gate", "gangway"]],
  ]);
  expect(groupBy([], () => 0).size).toBe(0);
});
