import { loadPracticeFaults } from "@dyetrace/practice";
import { checkScenarioAgainstSite, loadSitePlan } from "@dyetrace/site";
import {
  AgentMessageSchema,
  type AgentTask,
  ControllerMessageSchema,
  DEFAULT_GUARDS,
  type IntervalReport,
  loadScenario,
  parseMessage,
} from "@dyetrace/wire";
import { loadAgentConfig } from "../../../agent/src/config/agent-config.ts";
import { refuseTask } from "../../../agent/src/guards/guards.ts";
import { accountOfRun } from "../../../controller/src/account/run-account.ts";
import type { RunEvidence } from "../../../controller/src/account/run-evidence.ts";
import { completeMessage } from "../../../controller/src/agents/older-agents.ts";
import { contradictionOf } from "../../../controller/src/agents/report-contradiction.ts";
import { buildReport } from "../../../controller/src/conclude/build-report.ts";
import { prepareReport, type ReportMessage } from "../../../controller/src/intake/prepare-report.ts";
import { compileScenario } from "../../../controller/src/plan/compile-scenario.ts";
import { helloOf } from "../../faults/stranger.ts";
import type { Random } from "../seeded-random.ts";
import { simulateEvidence } from "../simulate-evidence.ts";
import { AIR_PARSERS } from "./air-parsers.ts";
import { mutateJson, mutateText } from "./mutate.ts";
import { PACKET_PARSERS } from "./packet-parsers.ts";
import type { Parser } from "./parser.ts";
import { WORD_PARSERS } from "./word-parsers.ts";

const RUN = "00000000000000aa";
const PLAN = `site: Quillfen
nodes:
  core: { kind: switch, querier: true }
  pier: { kind: switch }
  loft-ap: { kind: access-point, bssid: 02:00:5e:10:00:01, radio: { band: 5 GHz, multicast-rate: 12 Mbit/s, standard: ac, mcs: 7 } }
  tower: { kind: host }
  kiosk: { kind: host }
  phone: { kind: host }
links:
  - "core:1 -- tower:eth0"
  - { between: [core:2, pier:24], speed: 1 Gbit/s }
  - "pier:1 -- kiosk:eth0"
  - "core:3 -- loft-ap:lan"
  - "loft-ap:r1 -- phone:wlan0"
`;
const SCENARIO = `scenario: reach
parameters: { length: 3s }
hold: 10s
streams: [ { name: board, source: tower, group: 239.195.10.4, rate: 200 kbit/s } ]
timeline:
  - { at: 0s, join: board, agents: [kiosk, phone] }
  - { at: 1s, emit: board }
  - { after: 3s, stop: board }
expect: { loss: 0.1 % }
`;
const HOST_FILE = `contact: network operations
allow-upgrade: false
guards:
  allow-sending: true
  max-rate: 10 Mbit/s
  allowed-groups: [239.195.0.0/16]
  max-duration: 24 h
`;
const FAULTS = `faults:
  - { fault: drop, on: "core:2>pier:24", group: 239.195.10.4, share: 5 %, at: 1s, until: 4s }
  - { fault: rate-limit, on: "pier:24>core:2", rate: 2 Mbit/s, burst: 16 kB }
  - { fault: drop-reports, on: "pier:24>core:2", host: kiosk }
`;
const graph = loadSitePlan(PLAN, "plan.yaml");
const run = compileScenario(RUN, loadScenario(SCENARIO, "scenario.yaml").scenario, graph, new Map());
const evidence = simulateEvidence(run, (_stream, agent, seq) => agent === "phone" && seq % 7 === 3);

const ASKS: readonly object[] = [
  helloOf("kiosk", "key"),
  { kind: "clock-ask", id: 1 },
  { kind: "prepared", runId: RUN, clock: { offsetNs: 1, uncertaintyNs: 1, samples: 3 } },
  { kind: "trouble", runId: RUN, code: "JOIN_REFUSED", message: "made up", hint: "" },
  { kind: "upgrade-answer", isDone: true, message: "made up", hint: "" },
];
const reportOf = (report: IntervalReport, isFinal = false): object => ({
  kind: "report",
  runId: RUN,
  stint: RUN,
  firstNumber: 1,
  lastNumber: 1,
  droppedReports: 0,
  watch: null,
  isFinal,
  report,
});
const REPORTS = [...evidence.agents.values()].flatMap(({ reports }) => reports.map((report) => reportOf(report)));
const ORDERS: readonly object[] = [
  { kind: "welcome", protocol: 5, version: "0.1.0" },
  { kind: "go", runId: RUN, startControllerNs: 1e12 },
  { kind: "abort", runId: RUN, reason: "made up" },
  { kind: "ack", stint: RUN, lastNumber: 7 },
  { kind: "beat" },
  ...[...run.tasks.values()].map((task) => ({ kind: "prepare", task })),
];

const oneOf = (list: readonly object[], random: Random): object => list[Math.floor(random() * list.length)] ?? {};

function takeFromAgent(made: unknown): ReportMessage | null {
  const message = parseMessage(AgentMessageSchema, completeMessage(made), "The agent's message");
  if (message.kind !== "report" || contradictionOf(message) !== null) return null;
  prepareReport("kiosk", message);
  return message;
}

export const PARSERS: readonly Parser[] = [
  {
    name: "agents' messages",
    share: 30,
    make: (random) => mutateJson(oneOf(ASKS, random), random),
    take: (made) => void takeFromAgent(made),
  },
  {
    name: "agents' reports",
    share: 40,
    make: (random) => mutateJson(oneOf(REPORTS, random), random),
    take: (made) => void takeFromAgent(made),
  },
  {
    name: "the controller's messages",
    share: 30,
    make: (random) => mutateJson(oneOf(ORDERS, random), random),
    take: (made) => {
      const message = parseMessage(ControllerMessageSchema, made, "The controller's message");
      if (message.kind === "prepare") refuseTask(message.task as AgentTask, { ...DEFAULT_GUARDS, allowSending: true });
    },
  },
  {
    name: "plans",
    share: 3,
    make: (random) => mutateText(PLAN, random),
    take: (made) => void loadSitePlan(made as string, "plan.yaml"),
  },
  {
    name: "scenarios",
    share: 3,
    make: (random) => mutateText(SCENARIO, random),
    take: (made) => {
      const loaded = loadScenario(made as string, "scenario.yaml");
      checkScenarioAgainstSite(loaded, graph);
      compileScenario(RUN, loaded.scenario, graph, new Map());
    },
  },
  {
    name: "hosts' files",
    share: 3,
    make: (random) => mutateText(HOST_FILE, random),
    take: (made) => void loadAgentConfig(made as string, "agent.yaml"),
  },
  {
    name: "faults of a practice site",
    share: 2,
    make: (random) => mutateText(FAULTS, random),
    take: (made) => void loadPracticeFaults(made as string, "faults.yaml", graph),
  },
  ...AIR_PARSERS,
  ...PACKET_PARSERS,
  ...WORD_PARSERS,
  {
    name: "evidence",
    share: 1,
    make: (random) => ({ agent: random() < 0.5 ? "tower" : "phone", at: random(), random }),
    take: (made) => {
      const { agent, at, random } = made as { agent: string; at: number; random: Random };
      const told = evidence.agents.get(agent);
      if (told === undefined) throw new Error(`${agent} told nothing`);
      const place = Math.floor(at * told.reports.length);
      const message = takeFromAgent(mutateJson(reportOf(told.reports[place] as IntervalReport), random));
      if (message === null) return;
      const report = message.report as IntervalReport;
      const reports = told.reports.with(place, report);
      const final = place === reports.length - 1 ? report : told.final;
      const agents = new Map(evidence.agents).set(agent, { ...told, reports, final });
      buildReport(accountOfRun(run, { ...evidence, agents } satisfies RunEvidence), graph);
    },
  },
];
