import { PIN_FORM } from "@dyetrace/pin";
import { expect, test } from "vitest";
import { changePins } from "./register-pin.ts";

const [OLD, NEXT, THIRD] = ["A", "B", "C"].map((letter) => `sha256//${letter.repeat(43)}=`) as [string, string, string];

test("changePins: given the change of a key, then both are trusted in between, and the new one alone at the end", () => {
  const between = changePins([OLD], { add: NEXT });
  expect(between).toEqual([OLD, NEXT]);
  expect(between.join(";")).toMatch(PIN_FORM);
  expect(changePins(between, { add: NEXT })).toEqual([OLD, NEXT]);
  expect(changePins(between, { remove: OLD })).toEqual([NEXT]);
  expect(changePins([OLD], {})).toEqual([OLD]);
});

test.each([
  [[OLD], { remove: OLD }, "No key would be left"],
  [[OLD], { remove: NEXT }, "does not trust"],
  [[OLD, NEXT], { add: THIRD }, "at most 2"],
  [[OLD], { add: "sha256//short" }, "no fingerprint"],
])("changePins: given %j and %j, then it is refused", (pins, change, sentence) => {
  expect(() => changePins(pins, change)).toThrow(sentence);
});
