import { loadSitePlan } from "@dyetrace/site";
import { loadScenario } from "@dyetrace/wire";
import { expect, test } from "vitest";
import type { AgentSession } from "../agents/agent-session.ts";
import { monotonicNs } from "../agents/monotonic-clock.ts";
import { compileScenario } from "../plan/compile-scenario.ts";
import { RunAgents } from "./run-agents.ts";

const PLAN = `site: Quillfen
nodes:
  core: { kind: switch, querier: true }
  tower: { kind: host }
  kiosk: { kind: host }
links: [ "core:1 -- tower:eth0", "core:2 -- kiosk:eth0" ]
`;
const SCENARIO = `scenario: reach
streams: [ { name: board, source: tower, group: 239.195.10.4, rate: 1 Mbit/s } ]
timeline:
  - { at: 0s, join: board, agents: [kiosk] }
  - { at: 1s, emit: board }
  - { at: 10s, stop: board }
`;
const { scenario } = loadScenario(SCENARIO, "reach.yaml", { parameters: {} });
const RUN = compileScenario("00000000000000a0", scenario, loadSitePlan(PLAN, "plan.yaml"), new Map());
const WITHIN_NS = 12e9;

const said = (agents: RunAgents, name: string, isFinal: boolean): void =>
  agents.take(
    { name } as AgentSession,
    {
      kind: "report",
      runId: RUN.runId,
      stint: "1",
      firstNumber: 1,
      lastNumber: 1,
      isFinal,
      report: { fromNs: 0, toNs: RUN.endNs, sources: [], listeners: [], bystanders: [] },
    } as unknown as Parameters<RunAgents["take"]>[1],
  );

test("agents of a run taken up late: given a controller that is just back, then those that were not heard may come back, for a time", () => {
  const just = new RunAgents(RUN, ["tower"], false, monotonicNs());
  expect(just.mayComeBack(WITHIN_NS)).toBe(true);
  const long = new RunAgents(RUN, ["tower"], false, monotonicNs() - WITHIN_NS);
  expect(long.mayComeBack(WITHIN_NS)).toBe(false);
  said(just, "tower", true);
  expect(just.mayComeBack(WITHIN_NS)).toBe(false);
});

test("agents of a run: given one that was lost, then it may come back until that time is over; one that is there has nothing to come back from", () => {
  const agents = new RunAgents(RUN, ["tower"], true, 0);
  agents.begin(monotonicNs() - 20e9);
  said(agents, "tower", false);
  expect(agents.mayComeBack(WITHIN_NS)).toBe(false);
  agents.lost("tower");
  expect(agents.mayComeBack(WITHIN_NS)).toBe(true);
  expect(agents.mayComeBack(0)).toBe(false);
});
