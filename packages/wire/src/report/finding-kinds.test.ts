import { expect, test } from "vitest";
import { FINDING_KIND_NAMES, FINDING_KINDS } from "./finding-kinds.ts";
import { ReportFindingSchema } from "./report-schema.ts";
import { findingKindFacts } from "./stored-finding-kind.ts";

test("the table of finding kinds: given the published schema, then it lists every kind and no other", () => {
  expect(ReportFindingSchema.properties.kind.enum).toEqual([...FINDING_KIND_NAMES]);
});

test.each(FINDING_KIND_NAMES)(
  "the table of finding kinds: given %s, then its label is the kind's own words",
  (kind) => {
    expect(FINDING_KINDS[kind].label.toLowerCase().replaceAll(" ", "-")).toBe(kind);
    expect(FINDING_KINDS[kind].meaning).toMatch(/^[A-Z].*\.$/);
  },
);

test.each(FINDING_KIND_NAMES)("the table of finding kinds: given %s, then it is drawn as it weighs", (kind) => {
  const { effect, glyph, compared } = FINDING_KINDS[kind];
  // Doubt is drawn where the run can't tell and nowhere else, and what breaks nothing is drawn as no trouble.
  expect(glyph === "doubt").toBe(effect === "undecided");
  expect(glyph === "fact").toBe(effect === "informs");
  // What fails a run makes a later run worse, by itself or by its figures.
  if (effect === "fails") expect(compared).not.toBe("note");
});

test("findingKindFacts: given a kind of another version, then it is in doubt, and its words are shown", () => {
  expect(findingKindFacts("something-new")).toMatchObject({
    effect: "undecided",
    glyph: "doubt",
    label: "something new",
  });
  expect(findingKindFacts("toString")).toMatchObject({ effect: "undecided", label: "toString" });
});
