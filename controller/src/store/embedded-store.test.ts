import {
  chmodSync,
  chownSync,
  existsSync,
  mkdirSync,
  mkdtempSync,
  readdirSync,
  readFileSync,
  rmSync,
  statSync,
  truncateSync,
  writeFileSync,
} from "node:fs";
import { tmpdir } from "node:os";
import path from "node:path";
import type { RunReport } from "@dyetrace/wire";
import { afterEach, beforeEach, expect, test } from "vitest";
import { openSqliteFile } from "../sqlite/open-sqlite-file.ts";
import { DATABASE_FILE } from "./open-database.ts";
import { restoreStore } from "./restore-store.ts";
import { openStore, type Store } from "./store.ts";

let folder = "";
beforeEach(() => {
  folder = mkdtempSync(path.join(tmpdir(), "dyetrace-embedded-"));
});
afterEach(() => rmSync(folder, { recursive: true, force: true }));

const NOW_MS = Date.parse("2026-03-01T10:20:30.000Z");
const open = (name: string): Promise<Store> => openStore({ kind: "folder", folder: path.join(folder, name) });
const idOf = (run: number): string => run.toString(16).padStart(16, "0");

async function addRun(store: Store, run: number, padding = ""): Promise<void> {
  const runId = idOf(run);
  const request = { scenario: { file: "s.yaml", text: padding }, site: { file: "p.yaml", text: "" } };
  const about = { site: "Quillfen", scenario: "reach", endNs: 1, startAtMs: null, programVersion: "0", owner: "first" };
  await store.runs.add({ ...about, runId, request });
  const startedAt = "2026-01-01T00:00:00.000Z";
  await store.runs.done({ run: runId, verdict: "pass", startedAt, endedAt: startedAt } as RunReport);
}

test("open: given a folder that is not there and a program that only reads, then it says so and makes none", async () => {
  const missing = path.join(folder, "mistyped");
  await expect(openStore({ kind: "folder", folder: missing }, Date.now, { mustExist: true })).rejects.toMatchObject({
    code: "STORE_MISSING",
  });
  expect(existsSync(missing)).toBe(false);
});

test("shrink: given runs that are deleted, then the file gives their room back to the disk, in steps", async () => {
  await using store = await open("data");
  for (let run = 0; run < 40; run++) await addRun(store, run, "x".repeat(200_000));
  const size = (): number => statSync(path.join(folder, "data", DATABASE_FILE)).size;
  for (let run = 1; run < 40; run++) await store.runs.remove(idOf(run));
  let steps = 0;
  while (store.shrink()) steps++;
  expect(steps).toBeGreaterThan(0);
  await store.close();
  expect(size()).toBeLessThan(1_000_000);
});

test("open: given a store of an earlier version, which never shrank, then it is written anew and shrinks from then on", async () => {
  {
    await using store = await open("data");
    await addRun(store, 1);
  }
  const file = path.join(folder, "data", DATABASE_FILE);
  const old = openSqliteFile(file);
  old.pragma("journal_mode = DELETE");
  old.pragma("auto_vacuum = NONE");
  old.exec("VACUUM");
  expect(old.pragma("auto_vacuum")).toBe(0);
  old.close();
  await (await open("data")).close();
  const now = openSqliteFile(file, { isReadOnly: true });
  expect(now.pragma("auto_vacuum")).toBe(2); // SQLite's own: 2 is incremental
  now.close();
});

test("backup: given a store that is written on meanwhile, then the copy is whole, and restored it has what was there at one moment", async () => {
  const file = path.join(folder, "backup.sqlite");
  await using store = await open("data");
  for (let run = 0; run < 30; run++) await addRun(store, run, "y".repeat(100_000));
  const copying = store.backUp(file);
  await addRun(store, 30);
  await copying;
  const { runs, aside } = await restoreStore(file, path.join(folder, "other"), NOW_MS);
  expect(aside).toBeNull();
  expect([30, 31]).toContain(runs);
  await using restored = await open("other");
  expect(await restored.runs.list({ most: 100 })).toHaveLength(runs);
  const copy = openSqliteFile(file, { isReadOnly: true });
  expect(copy.pragma("integrity_check")).toBe("ok");
  copy.close();
});

test("restore: given a controller that has the store open, then nothing is changed; without one, the old store is kept beside it", async () => {
  const file = path.join(folder, "backup.sqlite");
  {
    await using store = await open("data");
    await addRun(store, 1);
    await store.backUp(file);
    await addRun(store, 2);
    await expect(restoreStore(file, path.join(folder, "data"), NOW_MS)).rejects.toMatchObject({ code: "STORE_BUSY" });
    expect(await store.runs.list({})).toHaveLength(2);
  }
  const { runs, aside } = await restoreStore(file, path.join(folder, "data"), NOW_MS);
  expect(runs).toBe(1);
  expect(path.basename(aside ?? "")).toBe(`${DATABASE_FILE}.before-2026-03-01T102030`);
  await using store = await open("data");
  expect(await store.runs.list({})).toMatchObject([{ runId: idOf(1) }]);
  const kept = openSqliteFile(aside ?? "", { isReadOnly: true });
  expect(kept.prepare("select count(*) as runs from runs").all()).toEqual([{ runs: 2 }]);
  kept.close();
});

test("restore: given a backup that is cut short, is of another program or is not there, then it says so and the store stays", async () => {
  const file = path.join(folder, "backup.sqlite");
  {
    await using store = await open("data");
    for (let run = 0; run < 10; run++) await addRun(store, run, "z".repeat(50_000));
    await store.backUp(file);
  }
  truncateSync(file, statSync(file).size / 2);
  const foreign = path.join(folder, "foreign.sqlite");
  const other = openSqliteFile(foreign);
  other.exec("create table t (a)");
  other.close();
  const into = path.join(folder, "data");
  const empty = path.join(folder, "empty.sqlite");
  writeFileSync(empty, ""); // to SQLite a sound database with nothing in it
  await expect(restoreStore(empty, into, NOW_MS)).rejects.toMatchObject({ code: "STORE_CORRUPT" });
  await expect(restoreStore(file, into, NOW_MS)).rejects.toMatchObject({ code: "STORE_CORRUPT" });
  await expect(restoreStore(foreign, into, NOW_MS)).rejects.toMatchObject({ code: "STORE_CORRUPT" });
  await expect(restoreStore(path.join(folder, "no"), into, NOW_MS)).rejects.toMatchObject({ code: "STORE_MISSING" });
  expect(readdirSync(into)).toEqual([DATABASE_FILE]);
  await using store = await open("data");
  expect(await store.runs.list({})).toHaveLength(10);
});

test("restore: given a store that is damaged, with what SQLite left beside it, then the backup takes its place all the same", async () => {
  const [file, into] = [path.join(folder, "backup.sqlite"), path.join(folder, "data")];
  {
    await using store = await open("data");
    await addRun(store, 1);
    await store.backUp(file);
  }
  const damaged = path.join(into, DATABASE_FILE);
  writeFileSync(damaged, "x".repeat(5000));
  writeFileSync(`${damaged}-wal`, "of the damaged one");
  const { runs, aside } = await restoreStore(file, into, NOW_MS);
  expect(runs).toBe(1);
  expect(readFileSync(aside ?? "", "utf8")).toBe("x".repeat(5000));
  expect(existsSync(`${damaged}-wal`)).toBe(false);
  await using store = await open("data");
  expect(await store.runs.list({})).toHaveLength(1);
});

test("restore: given what a try left that was killed, then nothing of it is taken for this one's", async () => {
  const [file, into] = [path.join(folder, "backup.sqlite"), path.join(folder, "data")];
  {
    await using store = await open("data");
    await addRun(store, 1);
    await store.backUp(file);
  }
  mkdirSync(path.join(into, ".restore"));
  writeFileSync(path.join(into, ".restore", `${DATABASE_FILE}-wal`), "of another backup");
  await restoreStore(file, into, NOW_MS);
  expect(readdirSync(into).sort()).toEqual([DATABASE_FILE, `${DATABASE_FILE}.before-2026-03-01T102030`]);
});

test("restore: given a folder that belongs to the controller's user, then so does the store, and nobody else reads it or the backup", async () => {
  const [file, into] = [path.join(folder, "backup.sqlite"), path.join(folder, "data")];
  {
    await using store = await open("data");
    await store.backUp(file);
  }
  expect(statSync(file).mode & 0o777).toBe(0o600);
  chmodSync(file, 0o644);
  if (process.getuid?.() === 0) chownSync(into, 12_345, 12_345); // anybody else could not give it away, and need not
  await restoreStore(file, into, NOW_MS);
  const { uid, gid, mode } = statSync(path.join(into, DATABASE_FILE));
  expect([uid, gid]).toEqual([statSync(into).uid, statSync(into).gid]);
  expect(mode & 0o777).toBe(0o600);
});

test("restore: given a store that a controller left in a hurry, then its last changes are not left out in silence", async () => {
  const file = path.join(folder, "left.sqlite");
  await using store = await open("data");
  await store.backUp(file);
  writeFileSync(`${file}-wal`, "changes");
  await expect(restoreStore(file, path.join(folder, "other"), NOW_MS)).rejects.toThrow(
    "changes that are not in it yet",
  );
});

test("a baseline: given a name that no address or line of a terminal should bear, then it is not taken", async () => {
  await using store = await open("data");
  await addRun(store, 1);
  for (const name of ["", "../x", "a b", "\u001b[2J", "x".repeat(81)]) {
    await expect(store.labels.nameBaseline(name, idOf(1))).rejects.toMatchObject({ code: "OPTION_INVALID" });
  }
  await store.labels.nameBaseline("core-fw-7.reach", idOf(1));
  expect(await store.labels.baselines()).toMatchObject([{ name: "core-fw-7.reach" }]);
  for (let i = 10; i < 23; i++) await store.labels.nameBaseline(`a${i}`, idOf(1));
  const unknown = store.labels.baseline("b");
  await expect(unknown).rejects.toMatchObject({ hint: expect.stringMatching(/^There are a10, .*, a21 and 2 more\. /) });
});
