import { mkdtempSync, readFileSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import path from "node:path";
import { afterEach, beforeEach, expect, test } from "vitest";
import { AccessBook } from "./access-book.ts";
import { AgentDoor } from "./agent-door.ts";

let folder = "";
let door: AgentDoor;
beforeEach(() => {
  folder = mkdtempSync(path.join(tmpdir(), "dyetrace-many-"));
  door = new AgentDoor(new AccessBook(folder), null);
});
afterEach(() => rmSync(folder, { recursive: true, force: true }));

const HOUR_MS = 3600e3;
const names = (): readonly string[] => door.records.map(({ name }) => name);

test("a key for many: given three hosts and its time, then each enrols once by its own name, and the fourth is refused", () => {
  const { key, until } = door.makeKeyForMany({ hosts: 3, names: null, lastsMs: 24 * HOUR_MS }, "anna", 0);
  expect(until).toBe("1970-01-02T00:00:00.000Z");
  door.enrol(key, "kiosk-1", "192.0.2.1", 1);
  expect(() => door.enrol(key, "kiosk-1", "192.0.2.9", 2)).toThrow("An agent kiosk-1 is enrolled already");
  door.enrol(key, "kiosk-2", "192.0.2.2", 3);
  door.enrol(key, "kiosk-3", "192.0.2.3", 4);
  expect(() => door.enrol(key, "kiosk-4", "192.0.2.4", 5)).toThrow("was used already");
  expect(names()).toEqual(["kiosk-1", "kiosk-2", "kiosk-3"]);
  expect(readFileSync(path.join(folder, "access.json"), "utf8")).not.toContain(key.split(".")[1]);
});

test("a key for many: given its time is over, then nobody enrols any more", () => {
  const { key } = door.makeKeyForMany({ hosts: 3, names: null, lastsMs: HOUR_MS }, "anna", 0);
  door.enrol(key, "kiosk-1", "", HOUR_MS - 1);
  expect(() => door.enrol(key, "kiosk-2", "", HOUR_MS)).toThrow("has run out");
});

test("a key for many: given a list of names, then those alone, each once", () => {
  const { key } = door.makeKeyForMany(
    { hosts: null, names: ["tower", "office", "tower"], lastsMs: HOUR_MS },
    "anna",
    0,
  );
  expect(() => door.enrol(key, "kiosk", "", 1)).toThrow("hosts of other names than kiosk");
  door.enrol(key, "tower", "", 2);
  expect(door.revoke("tower")).toBe(true);
  expect(() => door.enrol(key, "tower", "", 3)).toThrow("hosts of other names than tower"); // its one use is over
  door.enrol(key, "office", "", 4);
  expect(() => door.enrol(key, "office-2", "", 5)).toThrow("was used already");
});

test.each([
  ["no host", { hosts: 0, names: null, lastsMs: HOUR_MS }, "1 to 1000 hosts, not 0"],
  ["too many hosts", { hosts: 1001, names: null, lastsMs: HOUR_MS }, "1 to 1000 hosts, not 1001"],
  ["fewer names than hosts", { hosts: 3, names: ["a", "b", "a"], lastsMs: HOUR_MS }, "2 names for 3 hosts"],
  ["more than a week", { hosts: 3, names: null, lastsMs: 8 * 24 * HOUR_MS }, "from a minute to 7 days"],
])("a key for many: given %s, then it is not made", (_, want, says) => {
  expect(() => door.makeKeyForMany(want, "anna", 0)).toThrow(says);
});
