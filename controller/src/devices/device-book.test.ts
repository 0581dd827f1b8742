import { chmodSync, mkdtempSync, readdirSync, readFileSync, rmSync, statSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import path from "node:path";
import { afterEach, beforeEach, expect, test } from "vitest";
import { DeviceBook } from "./device-book.ts";

let folder = "";
beforeEach(() => {
  folder = mkdtempSync(path.join(tmpdir(), "dyetrace-devices-"));
});
afterEach(() => rmSync(folder, { recursive: true, force: true }));

const core = {
  node: "core",
  address: "192.0.2.1",
  port: 161,
  access: {
    version: "3",
    user: "reader",
    auth: "sha256",
    authPassword: "first secret",
    privacy: "aes",
    privacyPassword: "second secret",
  },
} as const;

test("given a device, then its file is its owner's alone, and what is listed has no secret", () => {
  new DeviceBook(folder).put(core, "anna");
  const book = new DeviceBook(folder);
  expect(statSync(path.join(folder, "devices.json")).mode & 0o777).toBe(0o600);
  expect(book.get("core")).toEqual(core);
  expect(book.list()).toMatchObject([{ node: "core", by: "snmp-v3", user: "reader", addedBy: "anna" }]);
  expect(JSON.stringify(book.list())).not.toContain("secret");
  const holders = readdirSync(folder).filter((file) => readFileSync(path.join(folder, file)).includes("secret"));
  expect(holders).toEqual(["devices.json"]);
});

test("given a file that was put back readable for all, then it is its owner's alone again", () => {
  const book = new DeviceBook(folder);
  book.put(core, "anna");
  chmodSync(path.join(folder, "devices.json"), 0o644);
  book.list();
  expect(statSync(path.join(folder, "devices.json")).mode & 0o777).toBe(0o600);
});

test("given a damaged file, then it is said without a word of what stands in it", () => {
  writeFileSync(path.join(folder, "devices.json"), '{"version":1,"devices":[{"target": first secret');
  expect(() => new DeviceBook(folder).list()).toThrow(/devices\.json is damaged$/);
  writeFileSync(path.join(folder, "devices.json"), '{"version":1,"devices":[{"target":"first secret"}]}');
  expect(() => new DeviceBook(folder).list()).toThrow(/devices\.json is damaged$/);
});

test("given a device that is removed, then it is gone, and a second time is a mistake", () => {
  const book = new DeviceBook(folder);
  book.put(core, "anna");
  book.remove("core");
  expect(book.list()).toEqual([]);
  expect(() => book.remove("core")).toThrow("No device is called core");
  expect(() => book.get("core")).toThrow("No device is called core");
});
