import { loadSitePlan } from "@dyetrace/site";
import { blankReading } from "@dyetrace/wire/devices/blank-reading";
import type { DevicePort } from "@dyetrace/wire/devices/device-port";
import type { DeviceReading } from "@dyetrace/wire/devices/device-reading";
import { expect, test } from "vitest";
import { deviceEvidence } from "./device-evidence.ts";
import { planPortOf } from "./plan-port.ts";

const graph = loadSitePlan(
  "site: Q\nnodes:\n  core: { kind: switch }\n  a: { kind: host }\n  b: { kind: host }\nlinks: [ 'core:1 -- a:eth0', 'core:24 -- b:eth0' ]\n",
  "plan.yaml",
);
const START = Date.parse("2026-11-30T10:00:00.000Z");
const TIMES = { startMs: START, endMs: START + 10_000, groups: ["239.195.10.4"] };

const port = (name: string, index: number, inMulticast: number, outMulticast: number): DevicePort => ({
  ...{ name, index, number: index, announcedAs: null, alias: null, mac: null, type: 6, speedBps: 1e9, up: true },
  ...{ enabled: true, duplex: "full", spanningTree: "forwarding", untaggedVlan: null },
  counters: {
    ...{ inOctets: null, outOctets: null, inUnicast: null, outUnicast: null, inBroadcast: null, outBroadcast: null },
    ...{ inMulticast, outMulticast, inErrors: 3, outErrors: null, inDiscards: null, outDiscards: 0, multicastBits: 64 },
  },
  ...{ countersFromMs: 10, countersToMs: 30 },
});
/** @param atS after the run's start */
const reading = (atS: number, ports: readonly DevicePort[], changes: Partial<DeviceReading> = {}): DeviceReading => {
  const readAt = new Date(START + atS * 1000).toISOString();
  return {
    ...blankReading({ node: "core", readAt, by: "snmp-v3", address: "192.0.2.1" }),
    ...{ tookMs: 100, upMs: 1e6 + atS * 1000, ports, groups: [], ...changes },
  };
};
const evidenceOf = (...readings: readonly DeviceReading[]) =>
  deviceEvidence([{ node: "core", readings }], graph, TIMES);

test("given readings before, during and after a run, then ports bear the plan's names and count the run alone", () => {
  const group = { vlan: 1, group: "01:00:5e:43:0a:04", ports: ["p1", "p24"] };
  const { observations, devices } = evidenceOf(
    reading(-4, [port("p1", 1, 100, 1000), port("p24", 2, 7, 7)]),
    reading(-2, [port("p1", 1, 110, 1004), port("p24", 2, 7, 7)]),
    reading(5, [port("p1", 1, 500, 1500), port("p24", 2, 7, 7)], { groups: [group] }),
    reading(12, [port("p1", 1, 1250, 1010), port("p24", 2, 7, 1147)]),
  );
  expect(observations).toMatchObject([
    {
      node: "core",
      ports: [
        {
          ...{ port: "1", vlan: null },
          in: { frames: 1140, quietPerS: 5, quietS: 2, fromMs: -1980, toMs: 12_020, skewMs: 20 },
          out: { frames: 6, quietPerS: 2 },
        },
        { port: "24", in: { frames: 0, quietPerS: 0 }, out: { frames: 1140 } },
      ],
      tables: [{}, {}, { atMs: 5050, isWhole: true, groups: [{ ports: ["1", "24"] }] }, {}],
    },
  ]);
  expect(devices).toMatchObject([
    {
      node: "core",
      readAt: [-4, -2, 5, 12].map((atS) => new Date(START + atS * 1000).toISOString()),
      ports: [
        { port: "1", inMulticast: 1140, outMulticast: 6, inErrors: 0, outDiscards: 0, up: true },
        { port: "24", inMulticast: 0, outMulticast: 1140 },
      ],
      groups: [{ vlan: 1, group: "239.195.10.4", ports: ["1", "24"] }],
      querier: null,
    },
  ]);
});

test("given a device that was restarted in the run, then what its ports counted is unknown, and not less than nothing", () => {
  const { observations, devices } = evidenceOf(
    reading(-2, [port("p1", 1, 100, 1000)]),
    reading(12, [port("p1", 1, 40, 20)], { upMs: 5_000 }),
  );
  expect(observations[0]?.ports).toMatchObject([{ port: "1", in: null, out: null }]);
  expect(devices[0]?.ports).toMatchObject([{ port: "1", inMulticast: null, outMulticast: null, inErrors: null }]);
});

test("given counters of 32 bits that turned over, then the difference goes on over it (RFC 2578, section 7.1.6)", () => {
  const short = (one: DevicePort): DevicePort => ({ ...one, counters: { ...one.counters, multicastBits: 32 } });
  const { observations } = evidenceOf(
    reading(-2, [short(port("p1", 1, 2 ** 32 - 10, 0))]),
    reading(12, [short(port("p1", 1, 30, 0))]),
  );
  expect(observations[0]?.ports[0]?.in?.frames).toBe(40);
});

test("given a reading that is missing before or after the run, then nothing is counted", () => {
  const { observations, devices } = evidenceOf(reading(2, [port("p1", 1, 1, 1)]), reading(5, [port("p1", 1, 9, 9)]));
  expect(observations[0]?.ports).toEqual([]);
  expect(devices[0]?.ports).toMatchObject([{ port: "1", inMulticast: null }]);
});

test("given a table that somebody pasted, then what it lists counts, and what it does not list proves nothing", () => {
  const groups = [{ vlan: null, group: "239.195.10.4", ports: ["24"] }];
  const { observations, devices } = evidenceOf(reading(5, [], { ports: null, by: "pasted", groups }));
  expect(observations[0]?.tables).toMatchObject([{ isWhole: false, groups: [{ ports: ["24"] }] }]);
  expect(devices[0]?.groups).toEqual(groups);
});

test.each([
  [{ name: "p24" }, { port: "24", vlan: null }],
  [{ name: "24" }, { port: "24", vlan: null }],
  [{ name: "p24.10" }, { port: "24", vlan: 10 }],
  [
    { name: "GE0/24", announcedAs: "24" },
    { port: "24", vlan: null },
  ],
  [
    { name: "GE0/24", alias: "24" },
    { port: "24", vlan: null },
  ],
  [
    { name: "GE0/24", number: 24 },
    { port: "24", vlan: null },
  ],
  [{ name: "br0" }, null],
  [{ name: "up24" }, null],
])("given an interface %j of a switch with ports 1 and 24 in the plan, then it is %j", (known, place) => {
  const unknown = { announcedAs: null, alias: null, number: null };
  expect(planPortOf(["1", "24"], { ...unknown, ...known })).toEqual(place);
});
