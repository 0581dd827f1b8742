import { mkdtempSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import path from "node:path";
import { expect, test } from "vitest";
import type { OperatorRecord } from "./access-records.ts";
import { KnownDevices } from "./known-devices.ts";

const anna: OperatorRecord = {
  name: "anna.b@pier",
  role: "operate",
  password: "scrypt:1",
  since: "2026-11-25T00:00:00Z",
};

test("KnownDevices: given what a browser was handed, then it is known, also after a restart, and by this controller alone", () => {
  const folder = mkdtempSync(path.join(tmpdir(), "dyetrace-devices-"));
  try {
    const proof = new KnownDevices(folder).prove(anna);
    expect(proof).toMatch(/^[A-Za-z0-9._@-]+$/); // a cookie's value may have these (RFC 6265 section 4.1.1)
    expect(new KnownDevices(folder).find(proof, [anna])).toEqual({ name: anna.name, id: proof.split(".").at(-2) });
    expect(new KnownDevices(null).find(proof, [anna])).toBeNull();
  } finally {
    rmSync(folder, { recursive: true });
  }
});

test("KnownDevices: given another password, a removed operator, another name or a changed letter, then it is a stranger's", () => {
  const devices = new KnownDevices(null);
  const proof = devices.prove(anna);
  expect(devices.find(proof, [{ ...anna, password: "scrypt:2" }])).toBeNull();
  expect(devices.find(proof, [])).toBeNull();
  expect(devices.find(proof.replace("anna.b", "otto"), [anna, { ...anna, name: "otto@pier" }])).toBeNull();
  for (let at = 0; at < proof.length; at++) {
    const letter = proof[at] === "A" ? "B" : "A";
    expect(devices.find(proof.slice(0, at) + letter + proof.slice(at + 1), [anna])).toBeNull();
  }
  for (const text of ["", ".", "..", "anna", "a.b.c", `${anna.name}..`]) expect(devices.find(text, [anna])).toBeNull();
});
