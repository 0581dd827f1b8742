import { describe, expect, test } from "vitest";
import { compareHouses, drawHouse, parseHouse } from "./arrows.ts";
import { findCircles } from "./circles.ts";
import {
  readAllPaths,
  readArrowBlock,
  readDeclaredPackages,
  readImports,
  readNamedPaths,
  readSourceFiles,
} from "./source-files.ts";

const MOST_LINES = 250;
const MOST_FILES = 25;

const files = readSourceFiles();

describe("the house", () => {
  test("given all source files, then no two need each other, imports of types included", () => {
    expect(files.length).toBeGreaterThan(500); // they were found at all
    expect(findCircles(new Map(files.map((file) => [file.path, file.imports])))).toEqual([]);
  });

  test("given the list of folders in DEVELOPERS.md, then each folder imports what it says there, and only downwards", () => {
    expect(compareHouses(parseHouse(readArrowBlock()), drawHouse(files))).toEqual([]);
  });

  test("given the paths that DEVELOPERS.md names, then each leads somewhere", () => {
    const [named, all] = [readNamedPaths(), readAllPaths()];
    const pattern = (name: string) => new RegExp(`(^|/)${name.replaceAll(".", "\\.").replaceAll("*", "[^/]*")}$`);
    expect(named.length).toBeGreaterThan(20); // they were found at all
    expect(named.filter((name) => !all.some((one) => pattern(name).test(one)))).toEqual([]);
  });

  test("given a package, then its package.json declares the packages that it imports, and no other", () => {
    const sorted = (of: Iterable<readonly [string, readonly string[]]>) =>
      Object.fromEntries([...of].map(([pack, names]) => [pack, [...names].sort()]));
    const imported = [...drawHouse(files)].map(([pack, { packages }]) => [pack, packages] as const);
    expect(sorted(imported)).toEqual(sorted(readDeclaredPackages()));
  });

  test("given the controller, then of the agent it knows the program that it starts, and nothing inside", () => {
    const known = files.filter(({ path }) => path.startsWith("controller/")).flatMap(({ ofPackages }) => ofPackages);
    expect([...new Set(known.filter((name) => name.split("/")[0] === "agent"))]).toEqual(["agent/program"]);
  });

  test("given all source files, then none imports a value of node:http, which costs each program 65 ms: pin/node-http.ts has it", () => {
    expect(files.filter(({ ofNode }) => ofNode.includes("node:fs")).length).toBeGreaterThan(50); // they were found at all
    expect(files.filter(({ ofNode }) => ofNode.includes("node:http")).map(({ path }) => path)).toEqual([]);
  });

  test(`given all source files, then none has more than ${MOST_LINES} lines`, () => {
    expect(files.filter(({ lines }) => lines > MOST_LINES).map(({ path, lines }) => `${path}: ${lines}`)).toEqual([]);
  });

  test(`given all folders, then none holds more than ${MOST_FILES} source files`, () => {
    const counts = new Map<string, number>();
    for (const { path } of files) {
      const folder = path.slice(0, path.lastIndexOf("/"));
      counts.set(folder, (counts.get(folder) ?? 0) + 1);
    }
    expect([...counts].filter(([, count]) => count > MOST_FILES)).toEqual([]);
  });
});

describe("what the house is held with", () => {
  const known = new Set(["agent/src/a/one.ts", "agent/src/b/two.tsx", "agent/src/b/three.ts"]);

  test.each([
    ['import { x } from "../b/three.ts";', ["agent/src/b/three.ts"]],
    ['import type { X } from "../b/three.ts";', ["agent/src/b/three.ts"]],
    ['import {\n  type X,\n  y,\n} from "../b/three.ts";', ["agent/src/b/three.ts"]],
    ['export { x } from "../b/three.ts";', ["agent/src/b/three.ts"]],
    ['const load = () => import("../b/two.tsx");', ["agent/src/b/two.tsx"]],
    ['new Worker(new URL("../b/three.js", import.meta.url));', ["agent/src/b/three.ts"]],
    ['import { x } from "vitest";', []],
    ['import settings from "./elsewhere.json";', []],
  ])("readImports: given %j, then it names %j", (text, expected) => {
    expect(readImports("agent/src/a/one.ts", text, known).imports).toEqual(expected);
  });

  test("readImports: given imports of the workspace's packages, then it names each once", () => {
    const of = (name: string) => `import type { A } from "@dyetrace/${name}";`;
    const text = [of("wire"), of("wire/units"), of("wire")].join("\n");
    expect(readImports("agent/src/a/one.ts", text, known).ofPackages).toEqual(["wire", "wire/units"]);
  });

  test("findCircles: given two circles that share no member, then both are found, and what only leads there is not", () => {
    const needs = { a: ["b"], b: ["c"], c: ["a", "d"], d: ["e"], e: ["d"], f: ["a"] };
    expect(findCircles(new Map(Object.entries(needs))).sort()).toEqual([
      ["a", "b", "c"],
      ["d", "e"],
    ]);
  });

  const file = (path: string, ...imports: string[]) => ({ path, lines: 1, imports, ofPackages: [], ofNode: [] });
  const said = parseHouse("agent\n  upper -> lower\n  lower\n");

  test("compareHouses: given files as listed, then nothing is wrong; doors may import everything", () => {
    const real = [
      file("agent/src/upper/a.ts", "agent/src/lower/b.ts"),
      file("agent/src/lower/b.ts"),
      file("agent/src/main.ts", "agent/src/upper/a.ts", "agent/src/lower/b.ts"),
    ];
    expect(compareHouses(said, drawHouse(real))).toEqual([]);
  });

  test("compareHouses: given an arrow upwards, then it is not listed, and closes a circle", () => {
    const real = [
      file("agent/src/upper/a.ts", "agent/src/lower/b.ts"),
      file("agent/src/lower/b.ts"),
      file("agent/src/lower/c.ts", "agent/src/upper/a.ts"),
    ];
    expect(compareHouses(said, drawHouse(real))).toEqual([
      "agent: lower imports upper, and DEVELOPERS.md does not list that arrow",
      "agent: lower, upper import each other in a circle",
    ]);
  });

  test("compareHouses: given a listed arrow that no file has, then it is named", () => {
    const real = [file("agent/src/upper/a.ts"), file("agent/src/lower/b.ts")];
    expect(compareHouses(said, drawHouse(real))).toEqual([
      "agent: DEVELOPERS.md says that upper imports lower, and no file of it does",
    ]);
  });

  test("compareHouses: given folders in the wrong order, or a folder that only one of the two has, then it is named", () => {
    const real = [file("agent/src/upper/a.ts", "agent/src/lower/b.ts"), file("agent/src/lower/b.ts")];
    expect(compareHouses(parseHouse("agent\n  lower\n  upper -> lower\n"), drawHouse(real))).toEqual([
      "agent: DEVELOPERS.md says that upper imports lower, which does not stand below it",
    ]);
    expect(compareHouses(parseHouse("agent\n  upper -> lower\n  lower\n  cellar\n"), drawHouse(real))).toEqual([
      "agent: there is no folder cellar, as DEVELOPERS.md says",
    ]);
    expect(compareHouses(parseHouse("agent\n  lower\n"), drawHouse(real))).toEqual([
      "agent: DEVELOPERS.md lacks the folder upper",
    ]);
  });

  test("compareHouses: given a file that imports its package's door, then that is no listed arrow", () => {
    const real = [
      file("agent/src/upper/a.ts", "agent/src/lower/b.ts", "agent/src/index.ts"),
      file("agent/src/lower/b.ts"),
    ];
    expect(compareHouses(said, drawHouse(real))).toEqual([
      "agent: upper imports index.ts, and DEVELOPERS.md does not list that arrow",
    ]);
  });

  test("parseHouse: given a line of another form, then it is named", () => {
    expect(() => parseHouse("agent\n  upper => lower\n")).toThrow("upper => lower");
  });
});
