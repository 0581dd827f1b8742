import { loadSitePlan } from "@dyetrace/site";
import { loadScenario } from "@dyetrace/wire";
import { expect, test } from "vitest";
import { checkPlan } from "../plan/check-plan.ts";
import { renderPlanCheck } from "./terminal-plan.ts";

const site = (hosts: readonly string[]): string => `site: Quillfen Corner
nodes:
  core: { kind: switch, querier: true }
${hosts.map((host) => `  ${host}: { kind: host }\n`).join("")}links:
${hosts.map((host, i) => `  - core:${i + 1} -- ${host}:eth0\n`).join("")}`;

const said = (hosts: readonly string[], scenario: string | null = null): string => {
  const graph = loadSitePlan(site(hosts), "plan.yaml");
  const { scenario: loaded } = scenario === null ? { scenario: null } : loadScenario(scenario, "scenario.yaml");
  return renderPlanCheck(checkPlan(graph, loaded), graph, (text) => text);
};

const SENDING = `
scenario: alone
streams:
  - { name: board, source: tower, group: 239.195.10.4, rate: 1 Mbit/s }
timeline:
  - { at: 1s, emit: board }
  - { at: 3s, stop: board }
`;

test("plan check: given one host, then it says that nothing is tested, and of no place that it can be told from others", () => {
  const words = said(["tower"]);
  expect(words).toContain("2 nodes, 1 agent\n");
  expect(words).toContain("no place of this site is tested");
  expect(words).not.toMatch(/told from every|marked with the same letter/);
});

test("plan check: given a scenario in which nobody joins, then it says that nothing is tested", () => {
  const words = said(["tower", "kiosk", "gate"], SENDING);
  expect(words).toContain("Nobody would listen to what is sent, so no place of this site is tested");
  expect(words).not.toContain("told from every");
});

test("plan check: given one listener, then what looks the same to it is marked and named", () => {
  const words = said(["tower", "kiosk"]);
  expect(words).toContain("marked with the same letter");
  expect(words).toMatch(/a {2}.*core:2>kiosk:eth0/);
  expect(words).not.toContain("told from every");
});

test("plan check: given a scenario that asks for bursts, then what may follow is said with its bounds; without, nothing is", () => {
  const asking = SENDING.replace("scenario: alone", "scenario: alone\nbursts: true");
  expect(said(["tower", "kiosk"], asking)).toContain(
    "one burst of test packets of 2 s follows it, to the same groups and listeners, with 2000 packets per second",
  );
  expect(said(["tower", "kiosk"], SENDING)).not.toContain("burst");
});
