import { loadSitePlan } from "@dyetrace/site";
import { type AgentMessage, loadScenario, type WatchedStream } from "@dyetrace/wire";
import { expect, test } from "vitest";
import { compileLook } from "../conduct/look-before.ts";
import { nextAction } from "../conduct/next-action.ts";
import { compileRamp } from "../conduct/ramp.ts";
import { SafetyGuard } from "../conduct/run-guard.ts";
import { compileScenario } from "../plan/compile-scenario.ts";

type Report = Extract<AgentMessage, { readonly kind: "report" }>;

const graph = loadSitePlan(
  `
site: Quillfen
nodes:
  core: { kind: switch, querier: true }
  hub: { kind: unmanaged }
  tower: { kind: host }
  kiosk: { kind: host }
  stand: { kind: host }
  office: { kind: host }
links: [ "core:1 -- tower:eth0", "core:2 -- hub:1", "hub:2 -- kiosk:eth0", "hub:3 -- stand:eth0", "core:3 -- office:eth0" ]
`,
  "plan.yaml",
);
const scenario = (leaks = "none") =>
  loadScenario(
    `
scenario: containment
streams: [ { name: board, source: tower, group: 233.252.0.10, rate: 1 Mbit/s, payload: 1250 B } ]
timeline:
  - { at: 0s, emit: board }
  - { at: 2s, join: board, agents: [kiosk] }
  - { at: 9s, leave: board, agents: [kiosk] }
  - { at: 10s, stop: board }
expect: { leaks: ${leaks} }
`,
    "s.yaml",
  ).scenario;
const run = compileScenario("00000000000000aa", scenario(), graph, new Map());

const lookAt = (isJoining: boolean) =>
  compileLook(run, {
    runId: "00000000000000bb",
    durationNs: 10e9,
    connected: new Map([
      ["tower", 256],
      ["kiosk", 256],
      ["stand", 256],
    ]),
    isJoining,
  });
const kindsOf = (look: ReturnType<typeof lookAt>) =>
  [...look.tasks].map(([agent, task]) => [agent, task.actions.map(({ kind }) => kind)]);

test("compileLook: given a live site, then nothing is sent, and whoever is connected or needed joins, leaves, and the leave is waited out", () => {
  const look = lookAt(true);
  expect(kindsOf(look)).toEqual([
    ["tower", ["join", "leave"]],
    ["kiosk", ["join", "leave"]],
    ["stand", ["join", "leave"]],
    ["office", []],
  ]);
  const task = look.tasks.get("tower");
  expect([look.runId, task?.runId]).toEqual(["00000000000000bb", "00000000000000bb"]);
  // RFC 3376 8.8: the last member query time is 2 s by default.
  expect([task?.actions.at(-1)?.atNs, task?.endNs, look.endNs]).toEqual([10e9, 14e9, 14e9]);
});

test("compileLook: given that only queries are wanted, then nobody joins: the look leaves no membership behind", () => {
  const look = lookAt(false);
  expect(kindsOf(look).flatMap(([, kinds]) => kinds)).toEqual([]);
  expect(look.endNs).toBe(10e9);
});

test("compileRamp: given 1 Mbit/s in packets of 1250 B, then it begins with 10 packets/s and doubles below the agreed 100", () => {
  const ramp = compileRamp(run, "00000000000000bb", graph, new Map(), 10e9);
  const task = ramp.tasks.get("tower");
  expect(task?.streams[0]?.rateBps).toBe(10 * 1250 * 8);
  expect(task?.actions.map(({ kind, atNs, rateBps }) => [kind, atNs / 1e9, (rateBps ?? 0) / 10_000])).toEqual([
    ["emit", 2, 0],
    ["set", 12, 20],
    ["set", 22, 40],
    ["set", 32, 80],
    ["stop", 42, 0],
  ]);
  expect(ramp.joins).toEqual([{ stream: "board", agent: "kiosk", fromNs: 0, toNs: 42e9 }]);
});

const seen = (frames: number): WatchedStream => ({
  streamId: 1,
  frames,
  firstNs: 0,
  lastNs: 1,
  ranges: [],
  unlistedFrames: 0,
  asUnicastFrames: 0,
  taggedFrames: 0,
  foreignFrames: 0,
});

/** What a guard needs of a report of one second. */
const report = (fromS: number, frames: number, senders: readonly object[] = []): Report =>
  ({
    report: { fromNs: fromS * 1e9, toNs: (fromS + 1) * 1e9, listeners: [], senders },
    watch: { sinceNs: -1, streams: [seen(frames)], membership: [], unlistedMembership: 0, dropped: 0 },
  }) as unknown as Report;

test("SafetyGuard: given frames where nobody joined, then the run must stop; beside a member, or as it settles, it need not", () => {
  const guard = new SafetyGuard(run, graph);
  expect(guard.onReport("office", report(1, 100))).toBeNull(); // a switch has to learn the group first
  expect(guard.onReport("stand", report(5, 100))).toBeNull(); // on the member's unmanaged switch
  expect(guard.onReport("office", report(5, 2))).toBeNull();
  expect(guard.onReport("office", report(6, 4))).toContain("6 frames of board reached office");
});

test("SafetyGuard: given a scenario that allows leaks, then frames do not stop it", () => {
  const lax = compileScenario("00000000000000aa", scenario("any"), graph, new Map());
  expect(new SafetyGuard(lax, graph).onReport("office", report(5, 1000))).toBeNull();
});

test("SafetyGuard: given a source that cannot keep up, or an agent that is gone, then the run must stop", () => {
  const guard = new SafetyGuard(run, graph);
  const sender = { sentPackets: 90, skippedPackets: 10, sendErrors: { enobufs: 0, eagain: 0, other: 0 } };
  expect(guard.onReport("tower", report(5, 0, [sender]))).toContain("tower cannot keep up");
  expect(guard.onReport("tower", report(5, 0, [{ ...sender, skippedPackets: 1 }]))).toBeNull();
  expect(guard.onGone("kiosk", 60e9, false)).toContain("kiosk was lost");
});

test("SafetyGuard: given a run that may outlast its controller, then several agents lost right after the start stop it, and the same later do not", () => {
  const early = new SafetyGuard(run, graph);
  expect(early.onGone("kiosk", 2e9, true)).toBeNull();
  expect(early.onGone("kiosk", 3e9, true)).toBeNull(); // the same one again
  expect(early.onGone("stand", 4e9, true)).toBe(
    "kiosk and stand vanished within 4 s of the start: the traffic may have taken the network down",
  );
  const late = new SafetyGuard(run, graph);
  for (const agent of ["kiosk", "stand", "office"]) expect(late.onGone(agent, 60e9, true)).toBeNull();
});

test("nextAction: given an instant, then what the timeline does next is told, with the time until then", () => {
  expect(nextAction(run, 0.5e9)).toEqual({ what: "kiosk join board", inMs: 1500 });
  expect(nextAction(run, 9.5e9)).toEqual({ what: "board stops", inMs: 500 });
  expect(nextAction(run, 11e9)).toBeNull();
});

test("SafetyGuard: given a companion that came and then loses packets for two seconds, then the run must stop", () => {
  const beside = loadScenario(
    `
scenario: beside
streams: [ { name: board, source: tower, group: 233.252.0.10, rate: 1 Mbit/s, companion: true } ]
timeline:
  - { at: 0s, join: board, agents: [kiosk] }
  - { at: 1s, emit: board }
  - { at: 60s, stop: board }
expect: { leaks: any }
`,
    "s.yaml",
  ).scenario;
  const addresses = new Map([["kiosk", { ipv4: "192.0.2.7", ipv6: [] }]]);
  const compiled = compileScenario("00000000000000aa", beside, graph, addresses);
  const [companion] = compiled.companions;
  expect(compiled.tasks.get("tower")?.streams.at(-1)).toMatchObject({ group: "192.0.2.7", companionOf: 1 });
  const second = (fromS: number, received: number, lost: number): Report => {
    const listener = { streamId: companion?.stream.streamId, receipt: { received, lost, hostDrops: 0 } };
    return {
      report: { fromNs: fromS * 1e9, toNs: (fromS + 1) * 1e9, listeners: [listener], senders: [] },
      watch: null,
    } as unknown as Report;
  };
  const guard = new SafetyGuard(compiled, graph);
  const told = [
    second(0, 0, 0), // not sent yet
    second(1, 10, 0),
    second(2, 6, 4),
    second(3, 10, 0),
    second(4, 0, 0),
    second(5, 0, 0),
  ].map((one) => guard.onReport("kiosk", one));
  expect(told.slice(0, 5)).toEqual([null, null, null, null, null]);
  expect(told[5]).toContain("Unicast from tower to kiosk suffers");
  expect(new SafetyGuard(compiled, graph).onReport("kiosk", second(59, 0, 0))).toBeNull();
});
