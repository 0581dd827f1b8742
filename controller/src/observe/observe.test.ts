import { loadSitePlan } from "@dyetrace/site";
import { type ClockEstimate, loadScenario } from "@dyetrace/wire";
import { expect, test } from "vitest";
import { accountOfRun } from "../account/run-account.ts";
import type { AgentEvidence } from "../account/run-evidence.ts";
import { compileScenario } from "../plan/compile-scenario.ts";
import { observeRun } from "./observe.ts";

const GRAPH = loadSitePlan(
  `
site: Quillfen
nodes: { core: { kind: switch, querier: true }, tower: { kind: host }, kiosk: { kind: host, agent: kiosk-7 } }
links: [ "core:1 -- tower:eth0", "core:2 -- kiosk:eth0" ]
`,
  "plan.yaml",
);
const RUN = compileScenario(
  "00000000000000aa",
  loadScenario(
    `
scenario: clocks
streams: [ { name: board, source: tower, group: 233.252.0.10, rate: 80 kbit/s, payload: 100 B } ]
timeline: [ { at: 0s, join: board }, { at: 1s, emit: board }, { at: 3s, stop: board } ]
`,
    "s.yaml",
  ).scenario,
  GRAPH,
  new Map(),
);

const evidenceOf = (agent: string, clock: ClockEstimate | null): AgentEvidence => ({
  agent,
  reports: [],
  watch: [],
  final: null,
  clock,
  lostAtNs: null,
  troubles: [],
});

test("observeRun: given what agents know of the controller's clock, then their uncertainty is told by host, and unknown where it was never compared", () => {
  const account = accountOfRun(RUN, {
    startedAt: new Date(0),
    endedAt: new Date(4_000),
    agents: new Map([
      ["tower", evidenceOf("tower", { offsetNs: -5e9, uncertaintyNs: 2.5e6 })],
      ["kiosk-7", evidenceOf("kiosk-7", null)],
    ]),
    absent: [],
    isAborted: false,
    stopReason: null,
    isComplete: true,
  });
  expect(observeRun(account, GRAPH).clocks).toEqual([
    { host: "tower", uncertaintyMs: 2.5 },
    { host: "kiosk", uncertaintyMs: null },
  ]);
});
