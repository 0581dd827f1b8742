import { DEFAULT_GUARDS, Fault } from "@dyetrace/wire";
import { expect, test } from "vitest";
import { DEFAULT_CONFIG, loadAgentConfig } from "./agent-config.ts";
import { guardsOnInterface } from "./guards-on-interface.ts";

const load = (guards: string) => loadAgentConfig(`contact: desk\nguards:\n  ${guards}\n`, "agent.yaml");
const mistake = (guards: string): Fault => {
  try {
    load(guards);
  } catch (fault) {
    if (fault instanceof Fault) return fault;
  }
  throw new Error(`${guards} was taken`);
};

test("host file: given a file without limits, then the cautious ones", () => {
  expect(loadAgentConfig("contact: desk\n", "agent.yaml").guards).toEqual(DEFAULT_GUARDS);
});

test("host file: given all limits, then each stands in the guards", () => {
  const { guards } = load(
    [
      "allow-sending: true",
      "refused-groups: [239.195.9.0/24]",
      "allow-reserved-groups: [239.255.4.0/24]",
      "allowed-ports: [5004, 48620-48639]",
      "companion-hosts: [192.0.2.0/24]",
      "companion-ports: [48620]",
      "max-companions: 3",
      "allowed-joins: [239.195.0.0/16]",
      "max-joins: 12",
      "max-hold: 30 s",
    ].join("\n  "),
  );
  expect(guards).toEqual({
    ...DEFAULT_GUARDS,
    allowSending: true,
    refusedGroups: ["239.195.9.0/24"],
    allowedReservedGroups: ["239.255.4.0/24"],
    allowedPorts: ["5004", "48620-48639"],
    companionHosts: ["192.0.2.0/24"],
    companionPorts: ["48620"],
    maxCompanions: 3,
    allowedJoins: ["239.195.0.0/16"],
    maxJoins: 12,
    maxHoldNs: 30e9,
  });
});

test.each([
  ["allowed-groups: [239.195.4.0/8]", "Write 239.0.0.0/8 if"], // it meant 239/8 without a word
  ["refused-groups: [239.195.0.0/16, ff15::1/16]", "Write ff15::/16 if"],
  ["allow-reserved-groups: [239.255.0]", "Write, for example, 239.195.0.0/16"],
  ["companion-hosts: [192.0.2.7/24]", "Write 192.0.2.0/24 if"],
  ["allowed-joins: [all]", "Write, for example, 239.195.0.0/16"],
  ["allowed-ports: [1024-70000]", "Write, for example, 48620"],
  ["companion-ports: [dns]", "Write, for example, 48620"],
  ["max-hold: 5 parsecs", "Write"],
])("host file: given %s, then the agent does not start, and says where and how to mend it", (line, hint) => {
  const fault = mistake(line);
  expect(fault).toMatchObject({ code: "AGENT_CONFIG_INVALID", place: { file: "agent.yaml", line: 3 } });
  expect(fault.hint).toContain(hint);
});

test("guardsOnInterface: given a file that names no companion hosts, then the tested interface's own subnets, and no other's", () => {
  const all = {
    eth0: [{ cidr: "192.0.2.17/26" }, { cidr: "fe80::a:1/64" }, { cidr: "2001:db8:0:7::5/64" }, { cidr: null }],
    eth1: [{ cidr: "198.51.100.9/24" }],
  };
  expect(guardsOnInterface(DEFAULT_CONFIG, "eth0", all).companionHosts).toEqual([
    "192.0.2.0/26",
    "fe80::/64",
    "2001:db8:0:7::/64",
  ]);
  expect(guardsOnInterface(DEFAULT_CONFIG, "eth2", all).companionHosts).toEqual([]);
  expect(guardsOnInterface(load("companion-hosts: []"), "eth0", all).companionHosts).toEqual([]);
});
