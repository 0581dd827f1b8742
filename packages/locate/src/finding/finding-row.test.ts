import { FINDING_KINDS } from "@dyetrace/wire";
import { expect, test } from "vitest";
import { type FindingFamily, findingsOf, having, rowsOf } from "./finding-row.ts";

interface Pipe {
  readonly name: string;
  readonly leakMm: number | null;
}

const family: FindingFamily<Pipe> = {
  streams: ({ name }) => [`stream of ${name}`],
  suspects: ({ name }) => [name, "sw1", name],
  evidence: ({ leakMm }, suspects) => [`${leakMm} mm`, `of ${suspects.join(" and ")}`],
};
const said = { advice: "Look.", reference: "common practice, no source" };

const pipes: readonly Pipe[] = [
  { name: "a", leakMm: 3 },
  { name: "b", leakMm: null },
];

test("findingsOf: given rows, then the first that matches says of each case what it found there", () => {
  const row = rowsOf(family);
  const leaks = row({
    ...said,
    kind: "leaks",
    match: (pipe) => having(pipe, "leakMm"),
    // What `match` found is known here: no `?? 0`.
    title: ({ name, leakMm }) => `${name} leaks ${leakMm.toFixed(1)} mm`,
    evidence: ({ leakMm }) => [`a hole of ${leakMm} mm`],
  });
  const plain = row({ ...said, kind: "stops", match: (pipe) => pipe, title: ({ name }) => `${name} stops` });
  expect(findingsOf([leaks, plain], pipes)).toEqual([
    {
      kind: "leaks",
      streams: ["stream of a"],
      suspects: ["a", "sw1"],
      confidence: FINDING_KINDS.leaks.confidence,
      title: "a leaks 3.0 mm",
      evidence: ["a hole of 3 mm", "3 mm", "of a and sw1"],
      ...said,
    },
    {
      kind: "stops",
      streams: ["stream of b"],
      suspects: ["b", "sw1"],
      confidence: FINDING_KINDS.stops.confidence,
      title: "b stops",
      evidence: ["null mm", "of b and sw1"],
      ...said,
    },
  ]);
});

test("findingsOf: given no row that matches, then nothing is said", () => {
  const never = rowsOf(family)({ ...said, kind: "stops", match: () => null, title: () => "never" });
  expect(findingsOf([never], pipes)).toEqual([]);
});

test("rowsOf: given a row's own suspects and confidence, then they stand in place of the family's and the kind's", () => {
  const row = rowsOf(family);
  const own = row({
    ...said,
    kind: "stops",
    match: (pipe) => pipe,
    title: () => "",
    suspects: () => ["core"],
    confidence: () => 0.5,
  });
  expect(findingsOf([own], pipes.slice(0, 1))).toMatchObject([{ suspects: ["core"], confidence: 0.5 }]);
});

test("rowsOf: given a family that doubts and advises otherwise, then both are heard by its rows", () => {
  const row = rowsOf<Pipe>({
    ...family,
    confidence: (_, ofRow) => ofRow / 3,
    advice: ({ leakMm }) => (leakMm === null ? null : "Mend the hole."),
  });
  const both = row({
    kind: "stops",
    match: (pipe) => pipe,
    title: () => "",
    confidence: () => 0.8,
    advice: ({ name }) => `Look at ${name}.`,
    reference: said.reference,
  });
  expect(findingsOf([both], pipes)).toMatchObject([
    { confidence: 0.27, advice: "Mend the hole." },
    { confidence: 0.27, advice: "Look at b." },
  ]);
});

test("having: given a figure that is 0, then it is known", () => {
  expect(having({ name: "c", leakMm: 0 }, "leakMm")).toEqual({ name: "c", leakMm: 0 });
  expect(having({ name: "d", leakMm: null }, "leakMm")).toBeNull();
});
