import { loadSitePlan } from "@dyetrace/site";
import { Fault } from "@dyetrace/wire";
import { expect, test } from "vitest";
import { loadPracticeFaults } from "./load-practice-faults.ts";
import type { PracticeFault } from "./practice-fault.ts";

const PLAN = loadSitePlan(
  `site: Test
nodes: { core: { kind: switch, querier: true }, edge: { kind: switch }, hub: { kind: unmanaged }, tower: { kind: host }, kiosk: { kind: host } }
links: [core:1 -- edge:24, core:9 -- tower:eth0, edge:3 -- hub:1, hub:2 -- kiosk:eth0]`,
  "plan.yaml",
);
const load = (text: string): readonly PracticeFault[] => loadPracticeFaults(text, "faults.yaml", PLAN);
const loadOne = (entry: string): PracticeFault | undefined => load(`faults:\n  - { fault: ${entry} }\n`)[0];

/** Where the first mistake stands, and its words. */
function mistake(text: string): string {
  try {
    load(text);
  } catch (error) {
    if (error instanceof Fault && error.code === "PRACTICE_FAULT_INVALID") {
      return `${error.place?.line}:${error.place?.column} ${error.message}. ${error.hint}`;
    }
    throw error;
  }
  return "no mistake";
}

test("loadPracticeFaults: given a share and times, then they come as numbers", () => {
  expect(loadOne('drop, on: "core:1>edge:24", share: 100 %, at: 5s, until: 20s')).toEqual({
    fault: "drop",
    on: "core:1>edge:24",
    atMs: 5_000,
    untilMs: 20_000,
    group: null,
    share: { kind: "all" },
    largerThanBytes: null,
  });
});

test.each<readonly [string, Partial<PracticeFault>]>([
  [
    "drop, on: edge, group: 239.195.10.4, share: 0.5 %",
    { share: { kind: "random", ratio: 0.005 }, atMs: null, untilMs: null },
  ],
  ['duplicate, on: "core:1>edge:24", every: 7', { share: { kind: "every", n: 7 } }],
  ['reorder, on: "core:1>edge:24", every: 10, delay: 20ms', { every: 10, delayMs: 20 }],
  ['rate-limit, on: "core:1>edge:24", rate: 2 Mbit/s', { limit: { kind: "shape", rateBps: 2e6, burstBytes: null } }],
  [
    'rate-limit, on: "core:1>edge:24", packets: 150, burst: 10',
    { limit: { kind: "police", packetsPerSecond: 150, burstPackets: 10 } },
  ],
  ["no-querier, on: core, silent: true", { isSilent: true }],
  ["querier-timers, on: edge, membership-interval: 4s", { membershipIntervalMs: 4_000, queryIntervalMs: null }],
  ["host-firewall, on: kiosk, block: udp", { block: "udp", port: 48_620 }],
  ['mtu, on: "edge:3", size: 1000 B', { sizeBytes: 1000 }],
  ['router-port, on: "edge:3"', { mode: "always" }],
])("loadPracticeFaults: given %s, then its parameters are read", (entry, expected) => {
  expect(loadOne(entry)).toMatchObject(expected);
});

test.each([
  ["an unknown kind", 'dorp, on: "core:1>edge:24"', /^2:\d+ "fault" must be .*not "dorp"/],
  [
    "a segment that is none",
    'drop, on: "core:1>edge:23"',
    /^2:5 "core:1>edge:23" is not a direction of a link.*core:1>edge:24/,
  ],
  ["a link where a port belongs", 'mtu, on: "core:1>edge:24", size: 1000 B', /^2:5 "core:1>edge:24" is not a port/],
  ["a host's port", 'fast-leave, on: "tower:eth0"', /^2:5 .*host's port.*core:9/],
  ["a node that does not snoop", "snooping-off, on: hub", /^2:5 "hub" does not snoop/],
  [
    "a switch that is not the querier",
    "no-querier, on: edge",
    /^2:5 "edge" is not the querier\. Name the querier: core/,
  ],
  ["a host where a switch belongs", "drop, on: tower", /^2:5 "tower" is a host/],
  ["an unknown node", "snooping-off, on: croe", /^2:5 The site plan has no node "croe"\. Its nodes: core, edge/],
  ["a share without a unit", 'drop, on: edge, share: "0.5"', /^2:\d+ "0.5" is not a share/],
  ["a share and every at once", "drop, on: edge, share: 5 %, every: 3", /^2:5 "share" and "every" exclude each other/],
  ["a share too fine", "drop, on: edge, share: 0.00001 %", /^2:5 The share is less than one packet in a million/],
  [
    "a rate and packets at once",
    'rate-limit, on: "core:1>edge:24", rate: 1 Mbit/s, packets: 3',
    /^2:5 A limit is either/,
  ],
  ["neither rate nor packets", 'rate-limit, on: "core:1>edge:24"', /^2:5 A limit is either/],
  ["no group address", "drop, on: edge, group: 192.0.2.1", /^2:5 "192.0.2.1" is not a group address/],
  ["an MTU that is none", 'mtu, on: "edge:3", size: 1500 B', /^2:5 1500 B is no smaller MTU/],
  ["a port held too shortly", 'forward-delay, on: "edge:3", hold: 2s', /^2:5 A port is held for at least 4 s, not 2 s/],
  ["no timer", "querier-timers, on: edge", /^2:5 No timer is named/],
  ["no version", "igmp-version, on: core", /^2:5 A version is missing/],
  ["a port for IGMP", "host-firewall, on: kiosk, block: igmp, port: 5", /^2:5 IGMP has no ports/],
  [
    "a source that is the host itself",
    "reverse-path, on: kiosk, source: kiosk",
    /^2:5 "kiosk" cannot be its own source/,
  ],
  [
    "an end before the beginning",
    "snooping-off, on: edge, at: 5s, until: 5s",
    /^2:\d+ This fault would end before it begins/,
  ],
  ["a missing parameter", "table-size, on: edge", /^2:5 The key "max" is missing/],
])("loadPracticeFaults: given %s, then its place and a sentence say so", (_, entry, words) => {
  expect(mistake(`faults:\n  - { fault: ${entry} }\n`)).toMatch(words);
});

test("loadPracticeFaults: given two mistakes, then both are told", () => {
  const fault = (() => {
    try {
      return load("faults:\n  - { fault: snooping-off, on: hub }\n  - { fault: drop, on: tower }\n");
    } catch (error) {
      return error;
    }
  })();
  expect(fault).toMatchObject({ place: { file: "faults.yaml", line: 2 }, others: [{ place: { line: 3 } }] });
});
