import fc from "fast-check";
import { expect, test } from "vitest";
import { nearestName } from "./nearest-name.ts";

// Distances by hand, from the definition of optimal string alignment (Damerau 1964 without repeated edits).
test.each([
  ["swich", ["host", "switch"], "switch"], // one letter missing
  ["siwtch", ["switch"], "switch"], // two neighbours swapped: one step
  ["Core", ["core", "cord"], "core"],
  ["access", ["access-point", "unmanaged"], "access-point"],
  ["hal", ["hall", "tower"], "hall"],
  ["tower", ["core", "hall"], null],
  ["a", ["b", "c"], null],
  ["x", [], null],
])("nearestName: given %s among %j, then it is %s", (written, known, expected) => {
  expect(nearestName(written, known)).toBe(expected);
});

test("nearestName: given a known name itself, then it is that name", () => {
  fc.assert(
    fc.property(
      fc.uniqueArray(fc.string({ minLength: 1 }), { minLength: 1, selector: (name) => name.toLowerCase() }),
      (known) => {
        for (const name of known) expect(nearestName(name, known)).toBe(name);
      },
    ),
  );
});
