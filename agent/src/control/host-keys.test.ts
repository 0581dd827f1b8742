import { mkdtempSync, readdirSync, rmSync, statSync } from "node:fs";
import { tmpdir } from "node:os";
import path from "node:path";
import { afterEach, beforeEach, expect, test } from "vitest";
import { keepCredential, keepPin, readCredential } from "./credential-file.ts";
import { HostKeys } from "./host-keys.ts";

const UNTIL = "2027-02-27T00:00:00.000Z";
const PIN = `sha256//${Buffer.alloc(32, 7).toString("base64")}`;
const enrolled = { controller: "https://192.0.2.1:8472", pin: PIN, name: "kiosk", credential: "first" };
let folder = "";
beforeEach(() => {
  folder = mkdtempSync(path.join(tmpdir(), "dyetrace-keys-"));
  keepCredential(folder, enrolled);
});
afterEach(() => rmSync(folder, { recursive: true, force: true }));

test("HostKeys: given another credential, then it stands on the disk with the one before, for its owner alone, and is shown next", () => {
  const keys = new HostKeys(folder, "first", null);
  keys.renew("second", UNTIL);
  expect(readCredential(folder)).toEqual({ ...enrolled, credential: "second", until: UNTIL, previous: "first" });
  expect(statSync(path.join(folder, "controller.json")).mode & 0o777).toBe(0o600);
  expect(readdirSync(folder)).toEqual(["controller.json"]);
  expect(keys.key).toBe("second");
});

test("HostKeys: given a controller that does not know the newer one, then the one before is shown, and kept beside the next one", () => {
  const keys = new HostKeys(folder, "second", "first");
  expect([keys.nextKey(), keys.key]).toEqual([true, "first"]);
  keys.welcomed();
  keys.renew("third", UNTIL);
  expect(readCredential(folder)).toMatchObject({ credential: "third", previous: "first" });
});

test("HostKeys: given a controller that knows neither, then each is shown once; after a welcome each may be shown again", () => {
  const keys = new HostKeys(folder, "second", "first");
  expect([keys.nextKey(), keys.nextKey()]).toEqual([true, false]);
  keys.welcomed();
  expect([keys.nextKey(), keys.key]).toEqual([true, "second"]);
  expect(new HostKeys(folder, "first", null).nextKey()).toBe(false);
});

test("HostKeys: given a disk that takes nothing, or a key that came with the command line, then it goes on with what it has", () => {
  const keys = new HostKeys(path.join(folder, "gone"), "first", null);
  expect(() => keys.renew("second", UNTIL)).toThrow(/There is no .* any more/);
  expect(keys.key).toBe("first");
  expect(() => new HostKeys(null, "first", null).renew("second", UNTIL)).toThrow("started with --key");
});

test("keepPin: given a credential that was renewed since the command read it, then that stays", () => {
  new HostKeys(folder, "first", null).renew("second", UNTIL);
  keepPin(folder, `${PIN};${PIN}`);
  expect(readCredential(folder)).toMatchObject({ credential: "second", previous: "first", pin: `${PIN};${PIN}` });
});
