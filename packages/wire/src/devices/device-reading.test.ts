import { expect, test } from "vitest";
import { parseAs } from "../parse-message.ts";
import { blankReading } from "./blank-reading.ts";
import type { DevicePort } from "./device-port.ts";
import { type DeviceReading, DeviceReadingSchema } from "./device-reading.ts";

const UNCOUNTED = {
  inOctets: null,
  outOctets: null,
  inUnicast: null,
  outUnicast: null,
  inMulticast: 1140,
  outMulticast: Number.MAX_SAFE_INTEGER,
  inBroadcast: null,
  outBroadcast: null,
  inErrors: 0,
  outErrors: null,
  inDiscards: null,
  outDiscards: null,
  multicastBits: 64,
} as const;
const PORT: DevicePort = {
  name: "p1",
  index: 3,
  number: 1,
  announcedAs: "1",
  alias: null,
  mac: "02:00:5e:10:00:01",
  type: 6,
  speedBps: 1e9,
  up: true,
  enabled: true,
  duplex: "full",
  spanningTree: "forwarding",
  untaggedVlan: null,
  counters: UNCOUNTED,
  countersFromMs: 12,
  countersToMs: 14,
};
const READING: DeviceReading = {
  ...blankReading({ node: "core", readAt: "2026-11-30T10:00:00.000Z", by: "snmp-v3", address: "192.0.2.1" }),
  ports: [PORT],
  groups: [{ vlan: 10, group: "01:00:5e:43:0a:04", ports: ["p1"] }],
  unread: [{ part: "forwarding", isCut: false, why: "core has no such table." }],
};
const read = (value: unknown) =>
  parseAs(DeviceReadingSchema, JSON.parse(JSON.stringify(value)), "MESSAGE_INVALID", "The reading");

test("a reading: given one with a port and a group, then it comes through JSON as it was", () => {
  expect(read(READING)).toEqual(READING);
});

test("a reading: given a counter that a double cannot hold exactly, a port without a name or words with an escape sequence, then it is refused", () => {
  const withPort = (changes: object) => ({ ...READING, ports: [{ ...PORT, ...changes }] });
  expect(() => read(withPort({ counters: { ...UNCOUNTED, inMulticast: 2 ** 60 } }))).toThrow(/inMulticast/);
  expect(() => read(withPort({ name: "" }))).toThrow(/name/);
  expect(() => read({ ...READING, systemName: "core\u001b[2J" })).toThrow(/systemName/);
  expect(() => read({ ...READING, unread: [{ part: "fans", isCut: false, why: "" }] })).toThrow(/unread/);
});
