import { readFileSync } from "node:fs";
import { loadScenario } from "@dyetrace/wire";
import { expect, test } from "vitest";
import { lintGroups } from "../groups/lint-groups.ts";
import { agentNames } from "../model/site-graph.ts";
import { pathBetween } from "../ways/site-path.ts";
import { checkScenarioAgainstSite } from "./check-scenario-against-site.ts";
import { loadSitePlan } from "./load-site-plan.ts";

const read = (path: string): Uint8Array => readFileSync(new URL(`../../../../${path}`, import.meta.url));
const DEMO = "packages/practice/demo";
const site = loadSitePlan(read(`${DEMO}/quillfen.yaml`), "quillfen.yaml");

test("demo site: given the tower as source, then two listeners part at every forwarder, so that neighbours can be told apart", () => {
  const listeners = agentNames(site).filter((agent) => agent !== "tower");
  for (const { name, kind } of site.nodes.values()) {
    if (kind === "host" || name === "hall-ap") continue; // one station only: the access point stands for its link
    const waysOut = listeners.flatMap((listener) => {
      const nodes = pathBetween(site, "tower", listener)?.nodes ?? [];
      return nodes.includes(name) ? [nodes[nodes.indexOf(name) + 1]] : [];
    });
    expect([name, new Set(waysOut).size >= 2]).toEqual([name, true]);
  }
});

test("demo site with VLANs: given the plan, then it has 3 VLANs, 2 routers, 5 switches and 12 agents, and hosts in each VLAN", () => {
  const vlans = loadSitePlan(read(`${DEMO}/quillfen-vlans.yaml`), "quillfen-vlans.yaml");
  const count = (kind: string): number => [...vlans.nodes.values()].filter((node) => node.kind === kind).length;
  expect([vlans.vlans?.size, count("router"), count("switch"), agentNames(vlans).length]).toEqual([3, 2, 5, 12]);
  for (const vlan of vlans.vlans?.keys() ?? []) {
    const hosts = [...vlans.nodes.values()].filter(
      ({ name, kind }) => kind === "host" && vlans.outgoing.get(name)?.[0]?.link.vlans?.includes(vlan),
    );
    expect(hosts).toHaveLength(4);
  }
});

test("demo scenario: given the demo site, then agents fit and nothing is to be said of the group", () => {
  const loaded = loadScenario(read(`${DEMO}/reach.yaml`), "reach.yaml");
  expect(() => checkScenarioAgainstSite(loaded, site)).not.toThrow();
  expect(loaded.scenario.durationNs).toBe(7e9);
  expect(lintGroups(loaded.scenario.streams.map((stream) => ({ ...stream, mostRouters: 0 })))).toEqual([]);
});

test.each([
  ["reach.yaml", { source: "tower" }],
  ["containment.yaml", { source: "tower", members: "[kiosk-1, till-1]" }],
  ["join-and-leave.yaml", { source: "tower", members: "[kiosk-1, till-1]" }],
  ["ageing.yaml", { source: "tower", members: "[kiosk-1, till-1]" }],
  ["shared-port.yaml", { source: "tower", stays: "till-1", leaves: "till-2" }],
  ["rate-steps.yaml", { source: "tower" }],
  ["size-steps.yaml", { source: "tower" }],
  ["soak.yaml", { source: "tower" }],
  ["many-groups.yaml", { source: "tower", members: "[kiosk-1]" }],
])("shipped scenario %s: given its parameters, then it fits the demo site", (file, parameters) => {
  const loaded = loadScenario(read(`controller/scenarios/${file}`), file, { parameters });
  expect(() => checkScenarioAgainstSite(loaded, site)).not.toThrow();
  expect(lintGroups(loaded.scenario.streams.map((stream) => ({ ...stream, mostRouters: 0 })))).toEqual([]);
});
