import { loadSitePlan } from "@dyetrace/site";
import { Fault, loadScenario } from "@dyetrace/wire";
import { expect, test } from "vitest";
import { compileScenario } from "./compile-scenario.ts";
import type { AgentAddresses } from "./compiled-run.ts";

const RUN_ID = "00000000000000aa";
const PLAN = `
site: Quillfen
nodes:
  core: { kind: switch, querier: true }
  tower: { kind: host }
  kiosk: { kind: host }
  gate: { kind: host, agent: gate-agent }
links: [ "core:1 -- tower:eth0", "core:2 -- kiosk:eth0", "core:3 -- gate:eth0" ]
`;
const graph = loadSitePlan(PLAN, "plan.yaml");
const ADDRESSES = new Map([["tower", { ipv4: "192.0.2.1", ipv6: ["fe80::1", "2001:db8::1"] }]]);

const compile = (scenario: string) =>
  compileScenario(RUN_ID, loadScenario(scenario, "scenario.yaml").scenario, graph, ADDRESSES);

const scenario = (timeline: string, stream = ""): string => `
scenario: reach
streams: [ { name: board, source: tower, group: 233.252.0.10, rate: 1 Mbit/s${stream} } ]
timeline: ${timeline}
`;

test("compileScenario: given a join of everyone, then every agent but the source joins, by its agent's name", () => {
  const run = compile(scenario("[ { at: 0s, join: board }, { at: 1s, emit: board }, { at: 5s, stop: board } ]"));
  expect(run.joins.map((join) => join.agent)).toEqual(["kiosk", "gate-agent"]);
  expect(run.tasks.get("tower")?.actions.map((action) => [action.kind, action.atNs])).toEqual([
    ["emit", 1e9],
    ["stop", 5e9],
  ]);
  expect(run.tasks.get("gate-agent")?.actions).toEqual([{ kind: "join", atNs: 0, streamId: 1 }]);
});

test("compileScenario: given a leave, then the stay ends there and the run waits for it to take effect", () => {
  const run = compile(
    scenario(
      "[ { at: 0s, join: board, agents: [kiosk] }, { at: 0s, emit: board }, { at: 4s, leave: board, agents: [kiosk] }, { at: 4s, stop: board } ]",
    ),
  );
  expect(run.joins).toEqual([{ stream: "board", agent: "kiosk", fromNs: 0, toNs: 4e9 }]);
  expect(run.endNs).toBeGreaterThanOrEqual(4e9 + 2e9); // last member query time, RFC 3376 8.8 and 8.9: 2 x 1 s
});

test("compileScenario: given an agent with nothing to do, then it has a task all the same, to watch", () => {
  const run = compile(
    scenario("[ { at: 0s, join: board, agents: [kiosk] }, { at: 0s, emit: board }, { at: 3s, stop: board } ]"),
  );
  expect(run.tasks.get("gate-agent")?.actions).toEqual([]);
  expect(run.tasks.get("gate-agent")?.streams).toHaveLength(1);
});

test("compileScenario: given a source-specific stream, then listeners join with the source's own address", () => {
  const text = scenario("[ { at: 0s, join: board }, { at: 0s, emit: board }, { at: 3s, stop: board } ]", ", ssm: true");
  expect(compile(text).tasks.get("kiosk")?.streams[0]?.ssmSource).toBe("192.0.2.1");
  const v6 = compile(text.replace("233.252.0.10", '"ff35::8000:1"'));
  expect(v6.tasks.get("kiosk")?.streams[0]?.ssmSource).toBe("2001:db8::1"); // never the link-local one
});

test("compileScenario: given a source-specific stream and a source without an address, or none at all, then it says which", () => {
  const text = scenario("[ { at: 0s, join: board }, { at: 0s, emit: board }, { at: 3s, stop: board } ]", ", ssm: true");
  const loaded = loadScenario(text, "scenario.yaml").scenario;
  const refusal = (agents: ReadonlyMap<string, AgentAddresses>): unknown => {
    try {
      return compileScenario(RUN_ID, loaded, graph, agents);
    } catch (error) {
      return error instanceof Fault ? [error.code, error.message] : error;
    }
  };
  const bare = new Map(["tower", "kiosk"].map((agent) => [agent, { ipv4: null, ipv6: [] }]));
  const rest = "and board is joined by its source's address";
  expect(refusal(bare)).toEqual(["AGENT_CANNOT", `tower has no IPv4 address, ${rest}`]);
  expect(refusal(new Map())).toEqual(["AGENT_MISSING", `Agent tower is not connected, ${rest}`]);
});
