import { locate, type RunObservations } from "@dyetrace/locate";
import { checkScenarioAgainstSite, loadSitePlan } from "@dyetrace/site";
import { DEFAULT_GUARDS, type Guards, loadScenario, type RunReport } from "@dyetrace/wire";
import { describe, expect, test } from "vitest";
import { seededRandom } from "../../../tests/simulation/seeded-random.ts";
import { simulateRun } from "../../../tests/simulation/simulate-run.ts";
import type { SimulatedFault } from "../../../tests/simulation/simulated-fault.ts";
import { joinProbe } from "./join-probe.ts";
import { offerProbe, type ProbeQuestion } from "./offer-probe.ts";
import { probedFinding } from "./probed-finding.ts";

// Site and scenario drawn up for these tests; who gets what is the simulation's.
const PLAN = `site: Quillfen
nodes:
  core: { kind: switch, querier: true }
  pier: { kind: switch }
  tower: { kind: host }
  hall: { kind: host }
  kiosk: { kind: host, agent: kiosk-agent }
  gate: { kind: host }
links: [ "core:1 -- pier:24", "core:2 -- tower:eth0", "core:3 -- hall:eth0", "pier:1 -- kiosk:eth0", "pier:2 -- gate:eth0" ]
`;
const SCENARIO = `scenario: reach
streams: [ { name: board, source: tower, group: 239.195.10.4, rate: 1 Mbit/s, payload: 900 B, ttl: 2 } ]
timeline:
  - { at: 0s, join: board }
  - { at: 0s, emit: board }
  - { at: 9s, stop: board }
`;
const graph = loadSitePlan(PLAN, "plan.yaml");
const request = { site: { file: "plan.yaml", text: PLAN }, scenario: { file: "reach.yaml", text: SCENARIO } };
const DEAD_SWITCH: SimulatedFault = { kind: "dead-node", node: "pier" };
const listeners = ["hall", "kiosk", "gate"];
const board = { stream: "board", group: "239.195.10.4", source: "tower", listeners, packets: 900, payloadBytes: 900 };

const observed = simulateRun(graph, [board], [DEAD_SWITCH], seededRandom(1));
const findings = locate(graph, observed).findings.map((one) => structuredClone(one));
/** The part of a report that a probe reads. */
const report = { run: "00000000000000aa", findings } as unknown as RunReport;
const GUARDS: Guards = { ...DEFAULT_GUARDS, allowSending: true };
const agentsWith = (guards: Readonly<Record<string, Guards>>): ProbeQuestion["agents"] =>
  ["tower", "hall", "kiosk-agent", "gate"].map((name) => ({ name, guards: guards[name] ?? GUARDS }));
const question: ProbeQuestion = { report, request, graph, agents: agentsWith({}), finding: null };

/** What the agents of an offered probe would report. */
function play(question: ProbeQuestion, faults: readonly SimulatedFault[]): RunObservations {
  const { scenario } = loadScenario(offerProbe(question).request?.scenario.text ?? "", "probe.yaml", {});
  const hostOf = (agent: string): string => (agent === "kiosk-agent" ? "kiosk" : agent);
  const streams = scenario.streams.map(({ name, group, source, payloadBytes }) => ({
    stream: name,
    group,
    source: hostOf(source),
    listeners: scenario.timeline.flatMap((one) =>
      one.kind === "join" && one.stream === name ? (one.agents ?? []).map(hostOf) : [],
    ),
    packets: 120,
    payloadBytes,
  }));
  return simulateRun(graph, streams, faults, seededRandom(2));
}

const first = probedFinding(report, 0, request, graph);
if (first === null) throw new Error("The first run found nothing that a probe could part");

describe("offerProbe: given a dead switch, which looks like its trunk", () => {
  test("then the offer is a scenario that loads, names agents, and keeps size, port and TTL", () => {
    const offer = offerProbe(question);
    expect(offer).toMatchObject({ finding: 0, refusal: null });
    expect(offer.suspects.length).toBeGreaterThan(1);
    expect(offer.request?.probeOf).toEqual({ run: report.run, finding: 0 });
    const loaded = loadScenario(offer.request?.scenario.text ?? "", "probe.yaml", {});
    checkScenarioAgainstSite(loaded, graph);
    expect(loaded.scenario.streams[0]).toMatchObject({
      source: "tower",
      group: board.group,
      payloadBytes: 900,
      ttl: 2,
    });
    const rates = loaded.scenario.streams.map(({ rateBps }) => rateBps);
    expect(rates.reduce((sum, rate) => sum + rate, 0)).toBeLessThan(1e6); // less than the run that it follows
    expect(offer.sends.length).toBe(loaded.scenario.streams.length + 1);
  });

  test("then what both runs leave is the switch, said in the place of the probe's own finding", () => {
    const observations = play(question, [DEAD_SWITCH]);
    const own = locate(graph, observations).findings.map((one) => structuredClone(one)) as RunReport["findings"];
    const { probe, findings: joined } = joinProbe(first, own, observations, graph);
    expect(probe).toMatchObject({ of: report.run, finding: 0, outcome: "narrowed", after: ["pier"] });
    expect(joined.map(({ kind, suspects }) => ({ kind, suspects }))).toEqual([{ kind: "stops", suspects: ["pier"] }]);
    expect(joined[0]?.title).toContain("in pier");
    expect(joined[0]?.confidence).toBeLessThanOrEqual(first.finding.confidence);
    expect(joined[0]?.causes?.elements.map(({ place }) => place)).toEqual(expect.arrayContaining(["pier"]));
  });

  test("then with the fault gone the probe says so, and the first run's suspects stand", () => {
    const { probe, findings: joined } = joinProbe(first, [], play(question, []), graph);
    expect(probe).toMatchObject({ outcome: "gone", after: probe.before });
    expect(joined).toEqual([]);
  });
});

describe("offerProbe: given what agents do not allow", () => {
  test("then no source is one whose own guards forbid it", () => {
    const closed = { ...DEFAULT_GUARDS, allowSending: false };
    const offer = offerProbe({ ...question, agents: agentsWith({ hall: closed, gate: closed }) });
    expect(offer.request?.scenario.text).not.toMatch(/"source":"(hall|gate)"/);
  });

  test.each([
    ["other groups alone", { ...GUARDS, allowedGroups: ["239.192.0.0/16"] }],
    ["a smaller TTL", { ...GUARDS, maxTtl: 1 }],
    ["nothing", DEFAULT_GUARDS],
  ])("given a first source that allows %s, then there is nothing to start, and the reason is said", (_, guards) => {
    const offer = offerProbe({ ...question, agents: agentsWith({ tower: guards }) });
    expect(offer.request).toBeNull();
    expect(offer.refusal).toContain("tower may not send");
  });

  test("given the first source away, then the reason names it", () => {
    const agents = agentsWith({}).filter(({ name }) => name !== "tower");
    expect(offerProbe({ ...question, agents })).toMatchObject({
      request: null,
      refusal: expect.stringContaining("tower"),
    });
  });

  test("given only agents that can't part them, then it is said where one would have to stand", () => {
    const agents = agentsWith({}).filter(({ name }) => ["tower", "kiosk-agent"].includes(name));
    const closed = agents.map((agent) => (agent.name === "tower" ? agent : { ...agent, guards: DEFAULT_GUARDS }));
    const offer = offerProbe({ ...question, agents: closed });
    expect(offer.wantedAgentAt).not.toBeNull();
  });

  test("given a finding that is not there, then the number is refused", () => {
    expect(() => offerProbe({ ...question, finding: 7 })).toThrow(/no number 8/);
  });
});

// Whoever owns that group did not agree to test traffic in it, and its viewers would see it.
test.each(["tower", "any"])(
  "offerProbe: given a stream of others that came from %s, then nothing is offered that would send to its group, and why is said",
  (from) => {
    const text = SCENARIO.replace(
      /source: tower(.*), rate.*\}/,
      `production: true, from: ${from}$1, port: 5004 }`,
    ).replace(/ {2}- \{ at: 0s, emit.*\n.*\n/, "  - { at: 9s, leave: board }\n");
    const offer = offerProbe({ ...question, request: { ...request, scenario: { file: "follow.yaml", text } } });
    expect(offer).toMatchObject({ request: null, sends: [] });
    expect(offer.refusal).toContain("a stream of others");
  },
);
