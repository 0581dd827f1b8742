import { chmodSync, mkdtempSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import path from "node:path";
import { afterAll, expect, test } from "vitest";
import { cautionOfPassword, storePlace } from "./store-place.ts";

const folder = mkdtempSync(path.join(tmpdir(), "dyetrace-place-"));
afterAll(() => rmSync(folder, { recursive: true }));
const url = "postgres://dyetrace@db.example/dyetrace";

test("store place: given an option, a file, the environment or a folder, then the first of them", () => {
  const file = path.join(folder, "store");
  writeFileSync(file, `${url}\n`, { mode: 0o600 });
  const environment = { DYETRACE_STORE: "postgres://dyetrace@other.example/dyetrace" };
  expect(storePlace({ data: "d", store: url }, environment)).toEqual({ kind: "postgres", url });
  expect(storePlace({ data: "d", storeFile: file }, environment)).toEqual({ kind: "postgres", url });
  expect(storePlace({ data: "d" }, environment)).toEqual({ kind: "postgres", url: environment.DYETRACE_STORE });
  expect(storePlace({ data: "d" }, {})).toEqual({ kind: "folder", folder: "d" });
  expect(storePlace({}, {})).toEqual({ kind: "memory" });
});

test("store place: given what can't be meant, then a sentence that never repeats a password", () => {
  const file = path.join(folder, "open");
  writeFileSync(file, url);
  chmodSync(file, 0o644);
  expect(() => storePlace({ storeFile: file }, {})).toThrow(/Every user of this machine can read/);
  expect(() => storePlace({ storeFile: path.join(folder, "no") }, {})).toThrow(/there is no such file/);
  expect(() => storePlace({ store: url, storeFile: file }, {})).toThrow(/both/);
  expect(() => storePlace({ store: "mysql://u:secret@h/n" }, {})).toThrow(/^(?!.*secret)/);
});

test("caution: given a password in an argument, then it is said; given none, then nothing", () => {
  expect(cautionOfPassword({ store: "postgres://u:secret@h/n" })).toMatch(/^(?!.*secret).*--store-file/);
  expect(cautionOfPassword({ store: url })).toBeNull();
  expect(cautionOfPassword({})).toBeNull();
});
