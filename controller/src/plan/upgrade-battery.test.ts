import { loadSitePlan } from "@dyetrace/site";
import { expect, test } from "vitest";
import { shippedScenarios } from "./shipped-scenarios.ts";
import { BATTERY, type BatteryChoice, partOf, planBattery, readParts } from "./upgrade-battery.ts";

const PLAN = `site: Quillfen Ferry Terminal
nodes:
  core: { kind: switch, querier: true }
  tower: { kind: host }
  kiosk: { kind: host }
  board: { kind: host }
  lounge: { kind: host }
links:
  - core:1 -- tower:eth0
  - core:2 -- kiosk:eth0
  - core:3 -- board:eth0
  - core:4 -- lounge:eth0
`;
const plan = (choice: Partial<BatteryChoice>) =>
  planBattery({ file: "plan.yaml", text: PLAN }, loadSitePlan(PLAN, "plan.yaml"), shippedScenarios(), {
    source: "tower",
    members: [],
    parts: BATTERY,
    settings: {},
    ...choice,
  });

test("battery: given a plan, then every part has its own parameters, and somebody is left to watch", () => {
  const parts = plan({});
  expect(parts.map(({ scenario }) => scenario)).toEqual([...BATTERY]);
  expect(parts[0]?.request.parameters).toEqual({ source: "tower" });
  expect(parts[1]?.request.parameters).toEqual({ source: "tower", members: "[kiosk, lounge]" });
  // RFC 3376, section 8.4: 260 s by default, and ageing outlasts it.
  expect(parts.at(-1)?.durationNs).toBeGreaterThan(260e9);
});

test("battery: given members, parts and settings, then these, and a setting only where a part knows it", () => {
  const parts = plan({ members: ["kiosk"], parts: ["containment", "reach"], settings: { hold: "6s", ttl: "8" } });
  expect(parts.map(({ request }) => request.parameters)).toEqual([
    { source: "tower", ttl: "8" },
    { source: "tower", members: "[kiosk]", hold: "6s", ttl: "8" },
  ]);
});

test("battery: given an agent, a part or a setting that is not there, then a sentence with those that are", () => {
  expect(() => plan({ source: "towr" })).toThrow(/No agent of the plan is called towr/);
  expect(() => plan({ settings: { lenght: "5s" } })).toThrow(/has a parameter lenght/);
  expect(() => readParts("reach, soak")).toThrow(/"soak" is no part of the battery/);
  expect(readParts("reach, size-steps")).toEqual(["reach", "size-steps"]);
});

test("kept runs: given names, then those of one battery are told from those of another", () => {
  expect(partOf("core-fw", "core-fw.reach")).toBe("reach");
  expect(partOf("core", "core-fw.reach")).toBeNull();
  expect(partOf("core-fw", "core-fw")).toBeNull();
});
