import { readFileSync } from "node:fs";
import { loadSitePlan } from "@dyetrace/site";
import { expect, test } from "vitest";
import { loadPracticeFaults } from "../faults/load-practice-faults.ts";
import { planRoutes, routerPorts, subnetText } from "../routing/routes.ts";
import { layPracticeSite } from "./practice-layout.ts";
import { PRACTICE_TIMERS } from "./practice-timers.ts";

/** What follows for names, addresses and routes is read off the drawing at the head of the plan, by hand. */
const SITE = loadSitePlan(
  readFileSync(new URL("../../demo/quillfen-vlans.yaml", import.meta.url)),
  "quillfen-vlans.yaml",
);
const layout = layPracticeSite(SITE, null);
const interfacesOf = (node: string): string[] =>
  [...(layout.nodes.get(node)?.ports.values() ?? [])].map(({ interfaceName }) => interfaceName);

test("layPracticeSite: given VLANs, then a switch has a bridge for each, and a trunk an interface for each", () => {
  const core = [...layout.nodes.values()].filter(({ namespace }) => namespace === "core");
  expect(core.map(({ name, bridge }) => [name, bridge])).toEqual([
    ["core vlan 10", "br10"],
    ["core vlan 20", "br20"],
  ]);
  expect(interfacesOf("core vlan 10")).toEqual(["p1.10", "p2.10", "p3.10", "p20", "p9"]);
  expect(interfacesOf("router-b")).toEqual(["lan.20", "lan.30"]);
  expect(interfacesOf("tower")).toEqual(["eth0"]);
});

test("layPracticeSite: given subnets and routers' addresses, then they are kept, and the querier's is the lowest", () => {
  const addresses = [...(layout.nodes.get("router-a")?.ports.values() ?? [])].map(({ address }) => address);
  expect(addresses).toEqual([
    { ipv4: "10.78.10.5", ipv6: "fd78:0:0:10::5", management: null },
    { ipv4: "10.78.20.5", ipv6: "fd78:0:0:20::5", management: null },
  ]);
  expect(layout.queriers.map(({ node, ipv4 }) => [node, ipv4])).toEqual([
    ["core vlan 10", "10.78.10.1"],
    ["core vlan 20", "10.78.20.1"],
    ["hall vlan 30", "10.78.30.1"],
  ]);
  const all = [...layout.nodes.values()].flatMap(({ ports }) =>
    [...ports.values()].flatMap(({ address }) => address ?? []),
  );
  expect(new Set(all.map(({ ipv4 }) => ipv4)).size).toBe(all.length);
  expect(new Set(all.map(({ ipv6 }) => ipv6)).size).toBe(all.length);
});

test("planRoutes: given two routers in a row, then hosts and routers know the next one for each other subnet", () => {
  const { unicastOf, routerConfig } = planRoutes(layout);
  const ways = (node: string): string[] => unicastOf(node).map(({ to, via }) => `${subnetText(to.ipv4)} ${via.ipv4}`);
  expect(ways("tower")).toEqual(["10.78.20.0/24 10.78.10.5", "10.78.30.0/24 10.78.10.5"]);
  expect(ways("kiosk-1")).toEqual(["10.78.10.0/24 10.78.20.5", "10.78.30.0/24 10.78.20.6"]);
  expect(ways("router-b")).toEqual(["10.78.10.0/24 10.78.20.5"]);
  const [into20, into30] = routerConfig("router-b", PRACTICE_TIMERS, [4]).interfaces;
  // Router B brings VLAN 30's packets into 20, and everybody else's into 30; its neighbour in 20 is router A.
  expect(into20?.neighbours).toEqual(["10.78.20.5"]);
  expect(into20?.bringsFrom.every((address) => address.startsWith("10.78.30.") || address.includes(":30:"))).toBe(true);
  expect(into30?.bringsFrom.some((address) => address.startsWith("10.78.10."))).toBe(true);
  expect(into30?.bringsFrom.some((address) => address.startsWith("10.78.30."))).toBe(false);
});

test("routerPorts: given a router in each VLAN, then the ports on the way to it, in its VLANs only", () => {
  const ports = routerPorts(layout).map(({ namespace, interfaceName }) => `${namespace} ${interfaceName}`);
  expect(ports).toEqual(
    expect.arrayContaining([
      "core p20",
      "core p21",
      "core p3.20",
      "hall p20.20",
      "hall p20.30",
      "annex p24",
      "pier-east p24.20",
      "hall p24.10",
    ]),
  );
  expect(ports).not.toContain("core p1.10"); // nobody but hosts behind it
});

const faultsIn = (entry: string) => loadPracticeFaults(`faults: [{ fault: ${entry} }]`, "faults.yaml", SITE);

test.each([
  ["a fault of a router on a switch", "not-forwarding, on: core, group: 239.195.20.1", '"core" is no router'],
  ["a VLAN that does not cross the link", 'vlan-missing, on: "core:1>pier-east:24", vlan: 30', "carries no VLAN 30"],
  ["a switch's fault on a router's port", 'fast-leave, on: "router-a:lan10"', "is a router's port"],
  ["an access list away from routers", 'access-list, on: "core:1>pier-east:24", vlan: 10', "leads to no router"],
  ["an MTU that takes IPv6 off a router", 'mtu, on: "router-a:lan10", size: 1000 B', "is no smaller MTU"],
  ["a fault that fits one VLAN on a switch of two", "second-querier, on: core", "carries 2 VLANs"],
])("loadPracticeFaults: given %s, then a Fault says so", (_what, entry, words) => {
  expect(() => faultsIn(entry)).toThrow(
    expect.objectContaining({ code: "PRACTICE_FAULT_INVALID", message: expect.stringContaining(words) }),
  );
});

test("loadPracticeFaults: given a fault on a trunk, then in all its VLANs or in the one that it names", () => {
  expect(faultsIn('drop, on: "core:1>pier-east:24"')).toHaveLength(1);
  expect(faultsIn('drop, on: "core:1>pier-east:24", vlan: 20')).toMatchObject([{ vlan: 20 }]);
  expect(faultsIn("second-querier, on: core, vlan: 20")).toHaveLength(1);
});
