import { expect, test } from "vitest";
import { simulateDevices } from "../../../../tests/simulation/devices/simulate-devices.ts";
import { seededRandom } from "../../../../tests/simulation/seeded-random.ts";
import { simulateRun } from "../../../../tests/simulation/simulate-run.ts";
import type { SimulatedStream } from "../../../../tests/simulation/simulated-fault.ts";
import { segmentBetween, sketchSite } from "../../../../tests/simulation/sketch-site.ts";
import type { Finding } from "../finding/finding.ts";
import { locate } from "../locate.ts";
import type { DeviceObservation, TableObservation } from "../run/device-observations.ts";
import { confidenceByDevices } from "./confidence-by-devices.ts";

const site = sketchSite(
  ["tower--core", "core--sw-east", "core--sw-west", "sw-east--kiosk", "sw-east--gate", "sw-west--hall"],
  "core",
);
const board: SimulatedStream = {
  ...{ stream: "board", group: "239.195.10.4", source: "tower", packets: 1_000 },
  listeners: ["kiosk", "gate", "hall"],
};
const dead = segmentBetween(site, "core", "sw-west");
const agents = simulateRun(site, [board], [{ kind: "dead-segment", segment: dead }], seededRandom(3));
const read = simulateDevices(
  {
    ...{ graph: site, streams: [board], read: new Set(["core", "sw-east", "sw-west"]), background: 0 },
    drop: { segment: dead, where: "wire", ratio: 1 },
  },
  seededRandom(4),
);
const conclude = (devices: readonly DeviceObservation[]): readonly Finding[] =>
  locate(site, { ...agents, devices }).findings;
const changed = (node: string, change: (device: DeviceObservation) => DeviceObservation): DeviceObservation[] =>
  read.map((device) => (device.node === node ? change(device) : device));
const withoutPort = (table: TableObservation, port: string): TableObservation => ({
  ...table,
  groups: table.groups.map((row) => ({ ...row, ports: row.ports.filter((one) => one !== port) })),
});
const ofKind = (findings: readonly Finding[]): Finding[] => findings.filter(({ kind }) => kind === "device-disagrees");
const portTo = (from: string, to: string): string => segmentBetween(site, from, to).split(">")[0]?.split(":")[1] ?? "";

test("given devices that say what agents know, then nothing disagrees", () => {
  expect(ofKind(conclude(read))).toEqual([]);
});

test("given a table without the port of a host that receives, then that is a finding, and what the table lacks proves nothing", () => {
  const port = portTo("sw-east", "kiosk");
  const lacking = changed("sw-east", (device) => ({
    ...device,
    tables: device.tables.map((table) => withoutPort(table, port)),
  }));
  const [finding, ...others] = ofKind(conclude(lacking));
  expect(others).toEqual([]);
  expect(finding).toMatchObject({ streams: ["board"], suspects: [] });
  expect(finding?.title).toBe(
    "sw-east's group table is not used for what it lacks: a host receives what it does not list",
  );
  expect(finding?.evidence[0]).toMatch(
    new RegExp(`^sw-east's table had no entry for 239\\.195\\.10\\.4 on port ${port} at [0-9.]+ s`),
  );
});

test("given a table that is cut, or one that names the port as going to routers, then nothing disagrees", () => {
  const port = portTo("sw-east", "kiosk");
  const spared = (change: Partial<TableObservation>): Finding[] =>
    ofKind(
      conclude(
        changed("sw-east", (device) => ({
          ...device,
          tables: device.tables.map((table) => ({ ...withoutPort(table, port), ...change })),
        })),
      ),
    );
  expect(spared({ isWhole: false })).toEqual([]);
  expect(spared({ allGroupPorts: [{ vlan: null, ports: [port] }] })).toEqual([]);
});

test("given counters that show nothing where hosts received all, then none of that device's counters narrows suspects", () => {
  const still = changed("core", (device) => ({
    ...device,
    ports: device.ports.map((port) => ({ ...port, out: port.out === null ? null : { ...port.out, frames: 0 } })),
  }));
  const findings = conclude(still);
  expect(ofKind(findings)).toMatchObject([{ title: expect.stringMatching(/^core's counters are not used/) }]);
  expect(findings.find(({ kind }) => kind === "stops")?.suspects).toContain(dead);
});

test("given likelihoods, then the confidence is what Bayes' rule makes of them", () => {
  const finding = { suspects: ["a", "b", "c"], confidence: 0.9 };
  const logs = [0, Math.log(0.1), Math.log(0.01)];
  // By hand: 0.3, 0.03 and 0.003 of the suspects, and 0.1 times 0.2 elsewhere.
  expect(confidenceByDevices(finding, logs, Math.log(0.2), ["a", "b"])).toBeCloseTo(0.33 / 0.353, 2);
  expect(confidenceByDevices(finding, logs, Math.log(0.2), ["a"])).toBeCloseTo(0.3 / 0.353, 2);
  // Nothing that devices say parts any of it: as before.
  expect(confidenceByDevices(finding, [null, null, null], null, ["a", "b", "c"])).toBe(0.9);
  expect(confidenceByDevices(finding, [-5, -5, -5], null, ["a", "b", "c"])).toBe(0.9);
});
