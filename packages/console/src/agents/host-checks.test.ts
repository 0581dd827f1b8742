import { DEFAULT_GUARDS } from "@dyetrace/wire";
import type { ConsoleAgent } from "@dyetrace/wire/console/console-agent";
import { expect, test } from "vitest";
import { hostChecks } from "./host-checks.ts";

const agent = (
  capabilities: Partial<ConsoleAgent["capabilities"]>,
  parts: Partial<ConsoleAgent> = {},
): ConsoleAgent => ({
  name: "till",
  version: "0.1.0",
  lacks: null,
  allowsUpgrade: false,
  clock: null,
  capabilities: {
    sockets: "linux",
    platform: "linux",
    osRelease: "",
    architecture: "x64",
    nodeVersion: "v20",
    kernelTimestamps: true,
    hostLossCount: true,
    ttlSeen: true,
    dscpSeen: true,
    destinationSeen: true,
    ssm: true,
    ipv6: true,
    watcher: true,
    interface: {
      name: "eth0",
      index: 2,
      ipv4: "192.0.2.1",
      ipv6: [],
      mac: null,
      mtuBytes: 1500,
      speedBps: null,
      isUp: true,
      isWireless: null,
    },
    receiveBufferBytes: null,
    guards: DEFAULT_GUARDS,
    ...capabilities,
  },
  ...parts,
});
const bad = (one: ConsoleAgent, controllerVersion: string | null = "0.1.0") =>
  hostChecks(one, controllerVersion)
    .filter(({ status }) => status !== "good")
    .map(({ name }) => name);

test("hostChecks: given an agent that can do everything, then nothing is to look at", () => {
  expect(bad(agent({}))).toEqual([]);
});

test("hostChecks: given each ability is missing in turn, then exactly that is said", () => {
  expect(bad(agent({ watcher: false }))).toEqual(["watching"]);
  expect(bad(agent({ kernelTimestamps: false }))).toEqual(["arrival times"]);
  expect(bad(agent({ hostLossCount: false }))).toEqual(["host loss"]);
  expect(bad(agent({ dscpSeen: false }))).toEqual(["TTL and DSCP"]);
  expect(bad(agent({ ssm: false }))).toEqual(["source-specific joins"]);
});

test("hostChecks: given another version than the controller's, then that is said, and not while the controller's is unknown", () => {
  expect(bad(agent({}, { version: "0.0.9" }))).toEqual(["version"]);
  expect(bad(agent({}, { version: "0.0.9" }), null)).toEqual([]);
});

test("hostChecks: given a clock that is known only within 5 ms, then that is said; one not compared yet is no trouble", () => {
  expect(bad(agent({}, { clock: { offsetNs: 0, uncertaintyNs: 5e6 } }))).toEqual(["clock"]);
  expect(bad(agent({}, { clock: { offsetNs: 0, uncertaintyNs: 2e5 } }))).toEqual([]);
});
