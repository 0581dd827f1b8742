import { chmodSync, mkdtempSync, readFileSync, rmSync, statSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import path from "node:path";
import { Fault } from "@dyetrace/wire";
import { afterEach, beforeEach, expect, test } from "vitest";
import { KeptList, type ListForm } from "./kept-list.ts";

let folder = "";
beforeEach(() => {
  folder = mkdtempSync(path.join(tmpdir(), "dyetrace-list-"));
});
afterEach(() => rmSync(folder, { recursive: true, force: true }));

const FORM: ListForm<string> = {
  parse: (value) => {
    const { names } = value as { names?: unknown };
    if (!Array.isArray(names)) throw new Error("secret words");
    return names as string[];
  },
  wrap: (names) => ({ names }),
  indent: 0,
  damaged: (file) => new Fault("ACCESS_INVALID", `${path.basename(file)} is damaged`, ""),
  unreadable: (file, deed) => new Fault("FILE_UNREADABLE", `${path.basename(file)} cannot be ${deed}`, ""),
};
const list = (in_: string | null = folder): KeptList<string> => new KeptList(in_, "names.json", FORM);
const file = (): string => path.join(folder, "names.json");

test("given a change, then another one of the same folder reads it, and the file is its owner's alone", () => {
  expect(list().read()).toEqual([]);
  list().change((before) => [...before, "core"]);
  list().change((before) => [...before, "hall"]);
  expect(list().read()).toEqual(["core", "hall"]);
  expect(readFileSync(file(), "utf8")).toBe('{"names":["core","hall"]}\n');
  expect(statSync(file()).mode & 0o777).toBe(0o600);
  chmodSync(file(), 0o644);
  list().read();
  expect(statSync(file()).mode & 0o777).toBe(0o600);
});

test("given no folder, then it is kept in memory, for one alone, and nothing is written", () => {
  const one = list(null);
  one.change(() => ["core"]);
  expect(one.read()).toEqual(["core"]);
  expect(list(null).read()).toEqual([]);
});

test("given an edit that refuses, then its own fault comes out and the list is as it was", () => {
  list().change(() => ["core"]);
  const refusal = new Fault("TOO_MANY", "no more", "");
  expect(() =>
    list().change(() => {
      throw refusal;
    }),
  ).toThrow(refusal);
  expect(list().read()).toEqual(["core"]);
});

test.each(['{"names":["core', '{"others":1}'])(
  "given a file that holds %s, then it is called damaged in the form's own words, to readers and to those who change it",
  (text) => {
    writeFileSync(file(), text);
    expect(() => list().read()).toThrow("names.json is damaged");
    expect(() => list().change(() => [])).toThrow("names.json is damaged");
    expect(readFileSync(file(), "utf8")).toBe(text);
  },
);

test("given what is no file, then it cannot be read; given a folder that is none, then it cannot be written", () => {
  expect(() => new KeptList(folder, ".", FORM).read()).toThrow("cannot be read");
  writeFileSync(path.join(folder, "flat"), "");
  expect(() => list(path.join(folder, "flat")).change(() => [])).toThrow("names.json cannot be written");
});
