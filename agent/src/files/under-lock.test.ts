import { spawnSync } from "node:child_process";
import { existsSync, mkdtempSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import path from "node:path";
import { afterEach, beforeEach, expect, test } from "vitest";
import { underLock } from "./under-lock.ts";

let folder = "";
let file = "";
beforeEach(() => {
  folder = mkdtempSync(path.join(tmpdir(), "dyetrace-lock-"));
  file = path.join(folder, "controller.json");
});
afterEach(() => rmSync(folder, { recursive: true, force: true }));

test("underLock: given a lock that a killed process has left, then it is taken at once; else it is there meanwhile and gone afterwards", () => {
  const { pid } = spawnSync("true");
  writeFileSync(`${file}.lock`, String(pid));
  const began = performance.now();
  expect(underLock(file, () => existsSync(`${file}.lock`))).toBe(true);
  expect(performance.now() - began).toBeLessThan(500);
  expect(existsSync(`${file}.lock`)).toBe(false);
});

test("underLock: given work that fails, then its error is thrown on and the next one gets the lock", () => {
  const fail = (): never => {
    throw new Error("no room");
  };
  expect(() => underLock(file, fail)).toThrow("no room");
  expect(underLock(file, () => 7)).toBe(7);
});
