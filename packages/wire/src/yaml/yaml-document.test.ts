import { expect, test } from "vitest";
import { describeFault, Fault } from "../fault.ts";
import { readYamlDocument } from "./yaml-document.ts";

const read = (text: string | Uint8Array) => readYamlDocument(text, "plan.yaml", "SITE_PLAN_INVALID");

function faultOf(act: () => unknown): Fault {
  try {
    act();
  } catch (error) {
    if (error instanceof Fault) return error;
    throw error;
  }
  throw new Error("expected a Fault");
}

test("readYamlDocument: given a document, then it is plain data", () => {
  const { data } = read("site: Hall\nnodes:\n  a: { kind: host }\nlinks: [a:1 -- b:2, 3, true, null, 0.5]\n");
  expect(data).toEqual({
    site: "Hall",
    nodes: { a: { kind: "host" } },
    links: ["a:1 -- b:2", 3, true, null, 0.5],
  });
});

test("readYamlDocument: given a path, then its place is the value's line and column, counted from 1", () => {
  const { placeOf, placeOfKey } = read("# a plan\nsite: Hall\nlinks:\n  - a:1 -- b:2\n  - { between: [a:3, c:4] }\n");
  expect(placeOf(["site"])).toEqual({ file: "plan.yaml", line: 2, column: 7 });
  expect(placeOfKey(["site"])).toEqual({ file: "plan.yaml", line: 2, column: 1 });
  expect(placeOf(["links", 0])).toEqual({ file: "plan.yaml", line: 4, column: 5 });
  expect(placeOf(["links", 1, "between", 1])).toEqual({ file: "plan.yaml", line: 5, column: 22 });
  expect(placeOfKey(["links", 1, "between"])).toEqual({ file: "plan.yaml", line: 5, column: 7 });
});

test("readYamlDocument: given a path that leads nowhere, then the place is the innermost value around it", () => {
  const { placeOf } = read("site: Hall\nlinks:\n  - { between: [a:3, c:4] }\n");
  expect(placeOf(["links", 0, "speed"])).toEqual({ file: "plan.yaml", line: 3, column: 5 });
  expect(placeOf(["nodes"])).toEqual({ file: "plan.yaml", line: 1, column: 1 });
});

test("readYamlDocument: given Windows line ends and a byte order mark, then data and places are as without", () => {
  const bytes = new TextEncoder().encode("\ufeffsite: Hall\r\nlinks:\r\n  - x\r\n");
  const { data, placeOf } = read(bytes);
  expect(data).toEqual({ site: "Hall", links: ["x"] });
  expect(placeOf(["links", 0])).toEqual({ file: "plan.yaml", line: 3, column: 5 });
});

test("readYamlDocument: given an alias, then its value is the anchor's and its place its own", () => {
  const { data, placeOf } = read("a: &kind { kind: host }\nb: *kind\n");
  expect(data).toEqual({ a: { kind: "host" }, b: { kind: "host" } });
  expect(placeOf(["b"])).toEqual({ file: "plan.yaml", line: 2, column: 4 });
});

test("readYamlDocument: given a merge key, then it is a key like any other", () => {
  expect(read("a: { <<: { b: 1 } }\n").data).toEqual({ a: { "<<": { b: 1 } } });
});

test("readYamlDocument: given a key called __proto__, then it is data and changes no prototype", () => {
  const { data } = read("__proto__: { polluted: true }\n");
  expect(Object.keys(data)).toEqual(["__proto__"]);
  expect((data as { polluted?: boolean }).polluted).toBeUndefined();
});

const WRONG: readonly (readonly [what: string, text: string | Uint8Array, place: string, fragment: string])[] = [
  ["nothing", "", "1:1", "This file is empty"],
  ["comments only", "# to be done\n", "1:1", "This file is empty"],
  ["a NUL byte", "site: a\0b\n", "1:1", "not a text file in UTF-8"],
  ["bytes that are not UTF-8", Uint8Array.of(0x73, 0xff, 0xfe, 0x00), "1:1", "not a text file in UTF-8"],
  ["text that was read with the wrong encoding", "site: Caf\ufffd\n", "1:1", "not a text file in UTF-8"],
  ["a list at the top", "# plan\n- a\n- b\n", "2:1", "holds a list where keys are expected"],
  ["a single word", "hello\n", "1:1", "holds a single value where keys are expected"],
  ["a tab as indentation", "nodes:\n\tcore: { kind: switch }\n", "2:1", "indented with a tab"],
  [
    "a key twice",
    "nodes:\n  core: { kind: switch }\n  core: { kind: host }\n",
    "3:3",
    '"core" stands here a second time',
  ],
  ["a key twice within braces", "nodes: { a: 1, b: 2, a: 3 }\n", "1:22", '"a" stands here a second time'],
  [
    "a number and the same number as text for keys",
    'nodes:\n  1: a\n  "1": b\n',
    "3:3",
    '"1" stands here a second time',
  ],
  ["two documents", "site: a\n---\nsite: b\n", "2:1", "A second document begins here"],
  ["an unclosed bracket", "links: [a, b\nsite: x\n", "2:1", "A bracket is not closed"],
  ["an unclosed quotation mark", "site: 'Hall\n", "2:1", "A quotation mark or bracket is not closed"],
  ["two colons in a line", "site: Hall: the big one\n", "1:7", "A second colon makes this value unclear"],
  ["a character that YAML reserves", "site: @hall\n", "1:7", "not valid YAML"],
  [
    "a directive, which could change what words mean",
    "%YAML 1.1\n---\nquerier: yes\n",
    "1:1",
    "Directives (`%YAML`) are not used",
  ],
  ["a tag", "site: !secret Hall\n", "1:7", "Tags (`!name`) are not used"],
  ["an alias of nothing", "a: 1\nb: *a\n", "2:4", "Nothing is marked &a above"],
  ["a list as a key", "? [a, b]\n: 1\n", "1:3", "A key must be a single word or text"],
  ["no key before the colon", "a: 1\n: 2\n", "2:1", "A key must be a single word or text"],
  ["brackets nested without end", `a: 1\nb: ${"[".repeat(200_000)}`, "2:68", "nested more than 64 deep"],
  ["dashes nested without end", `a: 1\nb:\n${"- ".repeat(200_000)}`, "3:129", "nested more than 64 deep"],
  // Each of them was told with a trace of its own: seconds for a file that is refused for the first.
  [
    "thousands of brackets too many",
    `t:\n${"  - { at: 0s } ]\nt:\n".repeat(25_000)}`,
    "2:16",
    "unexpected flow-seq-end",
  ],
  ["an alias inside its own anchor", "a: &x\n  b: *x\n", "2:6", "The value marked &x contains itself"],
  ["one mark on two values", "a: &x 1\nb: &x 2\n", "2:7", "A second value is marked &x"],
  ["more characters than any plan has", `a: ${"x".repeat(1_000_000)}`, "1:1", "more than 1000000 characters"],
];

test.each(WRONG)("readYamlDocument: given %s, then the fault names the place", (_what, text, place, fragment) => {
  const fault = faultOf(() => read(text));
  expect(fault.code).toBe("SITE_PLAN_INVALID");
  expect(describeFault(fault)).toContain(`plan.yaml:${place}: `);
  expect(fault.message).toContain(fragment);
});

test("readYamlDocument: given aliases of aliases that unfold into millions, then it refuses soon", () => {
  const lines = ["l0: &l0 [x, x, x, x, x, x, x, x, x, x]"];
  for (let level = 1; level < 9; level++) {
    lines.push(`l${level}: &l${level} [${new Array(10).fill(`*l${level - 1}`).join(", ")}]`);
  }
  const fault = faultOf(() => read(lines.join("\n")));
  expect(fault.message).toContain("unfolds into more than 200000 values");
});

test("readYamlDocument: given as many keys as fit, then it reads them in time", () => {
  const text = Array.from({ length: 80_000 }, (_, index) => `k${index}: 1\n`).join("");
  expect(Object.keys(read(text).data)).toHaveLength(80_000);
});
