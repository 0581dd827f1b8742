import { mkdtempSync, rmSync, statSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import path from "node:path";
import { afterEach, beforeEach, expect, test } from "vitest";
import { hasBuiltInSqlite } from "./built-in-sqlite.ts";
import { openSqliteFile } from "./open-sqlite-file.ts";
import type { SqliteFile } from "./sqlite-file.ts";

let folder = "";
beforeEach(() => {
  folder = mkdtempSync(path.join(tmpdir(), "dyetrace-sqlite-"));
});
afterEach(() => rmSync(folder, { recursive: true, force: true }));

test("given Node.js 20 or 22.15, then SQLite is the compiled one; given 22.16 and later, Node's own", () => {
  // nodejs.org/api/sqlite.html: `backup`, `columns` and `isTransaction` came with 22.16
  expect(["20.20.2", "22.13.0", "22.15.1", "22.16.0", "24.0.0", "26.1.0"].map((one) => hasBuiltInSqlite(one))).toEqual([
    ...[false, false, false],
    ...[true, true, true],
  ]);
});

const open = (name: string, options = {}): SqliteFile =>
  openSqliteFile(name === ":memory:" ? name : path.join(folder, name), options);
const codeOf = (work: () => unknown): unknown => {
  try {
    work();
  } catch (error) {
    return (error as { code?: unknown }).code;
  }
  return "no error";
};

test("given values of each kind, then they come back as they went in, octets too, and counts past 32 bits", () => {
  const sqlite = open(":memory:");
  sqlite.exec("create table t (a text, b integer, c real, d blob, e text)");
  const insert = sqlite.prepare("insert into t values (?, ?, ?, ?, ?)");
  expect(insert.reader).toBe(false);
  const done = insert.run(["é", 2 ** 53 - 1, 0.1, new Uint8Array([0, 255]), null]);
  expect(Number(done.changes)).toBe(1);
  const [row] = sqlite.prepare("select * from t where b > ?").all([2 ** 40]);
  expect({ ...row }).toEqual({ a: "é", b: 2 ** 53 - 1, c: 0.1, d: expect.any(Uint8Array), e: null });
  expect([...((row?.d ?? []) as Uint8Array)]).toEqual([0, 255]);
  const returning = sqlite.prepare("delete from t returning a");
  expect(returning.reader).toBe(true);
  expect([...returning.iterate()].map(({ a }) => a)).toEqual(["é"]);
  sqlite.close();
  sqlite.close();
});

// Codes: sqlite.org/rescode.html
test("given what SQLite refuses, then the error has SQLite's own name of it", () => {
  const sqlite = open("a.sqlite");
  sqlite.exec("pragma max_page_count = 4; create table t (a text unique)");
  sqlite.exec("insert into t values ('x')");
  expect(codeOf(() => sqlite.exec("nonsense"))).toBe("SQLITE_ERROR");
  expect(codeOf(() => sqlite.prepare("insert into t values (?)").run(["x"]))).toEqual(
    expect.stringMatching(/^SQLITE_CONSTRAINT/),
  );
  sqlite.exec("begin");
  expect(sqlite.inTransaction).toBe(true);
  expect(codeOf(() => sqlite.prepare("insert into t values (?)").run(["y".repeat(50_000)]))).toBe("SQLITE_FULL");
  expect(sqlite.inTransaction).toBe(false); // sqlite.org/lang_transaction.html: SQLITE_FULL may roll back by itself
  const other = open("a.sqlite", { isReadOnly: true });
  expect(codeOf(() => other.exec("insert into t values ('z')"))).toBe("SQLITE_READONLY");
  sqlite.exec("begin exclusive");
  expect(codeOf(() => other.prepare("select * from t").all())).toBe("SQLITE_BUSY");
  other.close();
  sqlite.close();
  writeFileSync(path.join(folder, "list"), "This is a shopping list.\n".repeat(100));
  const list = open("list");
  expect(codeOf(() => list.pragma("page_count"))).toBe("SQLITE_NOTADB");
  list.close();
  expect(codeOf(() => open("."))).toBe("SQLITE_CANTOPEN");
});

test("given a pragma, then its answer; given one that answers nothing, then null", () => {
  const sqlite = open("p.sqlite");
  expect(sqlite.pragma("journal_mode = WAL")).toBe("wal");
  expect(sqlite.pragma("synchronous = FULL")).toBeNull();
  expect(sqlite.pragma("synchronous")).toBe(2);
  sqlite.close();
});

test("given a backup and writes between its steps, then the copy is whole", async () => {
  const sqlite = open("from.sqlite");
  sqlite.exec("pragma locking_mode = EXCLUSIVE; pragma journal_mode = WAL; create table t (a blob)");
  const insert = sqlite.prepare("insert into t values (zeroblob(100000))");
  for (let i = 0; i < 20; i++) insert.run();
  const copying = sqlite.backup(path.join(folder, "to.sqlite"), 20);
  insert.run();
  await copying;
  sqlite.close();
  const copy = open("to.sqlite", { isReadOnly: true });
  expect(copy.pragma("integrity_check")).toBe("ok");
  expect([20, 21]).toContain(copy.prepare("select count(*) as n from t").all()[0]?.n);
  copy.close();
  expect(statSync(path.join(folder, "to.sqlite")).size).toBeGreaterThan(2_000_000);
});
