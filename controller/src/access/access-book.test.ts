import { mkdtempSync, readdirSync, rmSync, symlinkSync, writeFileSync } from "node:fs";
import { createRequire } from "node:module";
import { tmpdir } from "node:os";
import path from "node:path";
import { Worker } from "node:worker_threads";
import { afterEach, beforeEach, expect, test } from "vitest";
import { hasBuiltInSqlite } from "../sqlite/built-in-sqlite.ts";
import { AccessBook } from "./access-book.ts";
import type { AgentRecord } from "./access-records.ts";
import { AgentDoor } from "./agent-door.ts";

let folder = "";
beforeEach(() => {
  folder = mkdtempSync(path.join(tmpdir(), "dyetrace-book-"));
});
afterEach(() => rmSync(folder, { recursive: true, force: true }));

const agentOf = (name: string): AgentRecord => ({ id: "0".repeat(16), name, secret: "x", since: "", from: "" });
const names = (): readonly string[] => new AccessBook(folder).records.agents.map(({ name }) => name).toSorted();

test("change: given two programs that change it by turns, then neither undoes what the other did", () => {
  const [controller, command] = [new AccessBook(folder), new AccessBook(folder)];
  controller.change(() => ({ agents: [agentOf("kiosk"), agentOf("tower")] }));
  expect(new AgentDoor(command, null).revoke("kiosk")).toBe(true);
  const door = new AgentDoor(controller, null);
  const { key } = door.makeKey(null, "", 0);
  door.enrol(key, "pier", "", 1);
  command.change(({ agents }) => ({ agents: agents.filter(({ name }) => name !== "tower") }));
  expect(names()).toEqual(["pier"]);
  expect(() => door.enrol(key, "quay", "", 2)).toThrow("was used already");
});

/** Another thread, as another program would: with a handle of its own on the same lock. */
const HOLDER = `
const { parentPort, workerData } = require("node:worker_threads");
const SQLite = require(workerData.sqlite);
const lock = new (SQLite.DatabaseSync ?? SQLite)(workerData.file);
lock.exec("BEGIN IMMEDIATE");
parentPort.postMessage("held");
setTimeout(() => { workerData.isFree[0] = 1; lock.close(); }, 100);
`;

test("change: given another program in the middle of a change, then it is waited for", async () => {
  const book = new AccessBook(folder);
  book.change(() => ({ agents: [agentOf("kiosk")] }));
  // The same one as ours: the kernel's locks are a process's, and SQLite tells its own threads apart.
  const sqlite = hasBuiltInSqlite() ? "node:sqlite" : createRequire(import.meta.url).resolve("better-sqlite3");
  const isFree = new Int32Array(new SharedArrayBuffer(4));
  const workerData = { sqlite, isFree, file: path.join(folder, "access.json.lock") };
  const holder = new Worker(HOLDER, { eval: true, workerData });
  await new Promise((resolve) => holder.once("message", resolve));
  let wasFree = 0;
  book.change(() => {
    wasFree = isFree[0] ?? 0;
    return { agents: [] };
  });
  expect(wasFree).toBe(1);
  await holder.terminate();
});

test("change: given a file that was damaged meanwhile, then it is not written over", () => {
  const book = new AccessBook(folder);
  book.change(() => ({ agents: [agentOf("kiosk")] }));
  writeFileSync(path.join(folder, "access.json"), "{");
  expect(() => book.change(() => ({ agents: [] }))).toThrow("Cannot read who may do what");
});

test("change: given a link in the place of the lock, then nothing is made where it points", () => {
  const elsewhere = path.join(folder, "elsewhere");
  symlinkSync(elsewhere, path.join(folder, "access.json.lock"));
  expect(() => new AccessBook(folder).change(() => ({}))).toThrow("Cannot keep who may do what");
  expect(readdirSync(folder)).toEqual(["access.json.lock"]);
});
