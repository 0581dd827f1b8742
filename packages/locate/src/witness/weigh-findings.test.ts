import type { SiteGraph } from "@dyetrace/site";
import { expect, test } from "vitest";
import { seededRandom } from "../../../../tests/simulation/seeded-random.ts";
import { simulateRun } from "../../../../tests/simulation/simulate-run.ts";
import type { SimulatedFault } from "../../../../tests/simulation/simulated-fault.ts";
import { segmentBetween, sketchSite } from "../../../../tests/simulation/sketch-site.ts";
import type { Finding } from "../finding/finding.ts";
import { locate } from "../locate.ts";
import type { ListenerObservation, RunObservations } from "../run/run-observations.ts";

// Expected values follow from what the sketched site carries when it is as the world says; no source beside it.
const HOSTS = ["a1", "a2", "a3", "a4", "b1", "b2", "c1"] as const;
const sketch = (...hosts: readonly string[]): SiteGraph =>
  sketchSite(["core--sw-a", "core--sw-b", "core--sw-c", "core--src", ...hosts], "core");
const PLAN = sketch("sw-a--a1", "sw-a--a2", "sw-a--a3", "sw-a--a4", "sw-b--b1", "sw-b--b2", "sw-c--c1");
/** a1 and b1 on each other's ports. */
const SWAPPED = sketch("sw-b--a1", "sw-a--a2", "sw-a--a3", "sw-a--a4", "sw-a--b1", "sw-b--b2", "sw-c--c1");

function run(world: SiteGraph, faults: readonly SimulatedFault[]): RunObservations {
  const stream = { stream: "board", group: "233.252.0.1", source: "src", listeners: HOSTS, packets: 2_000 };
  return simulateRun(world, [stream], faults, seededRandom(3));
}

const saying = (
  observed: RunObservations,
  host: string,
  what: (one: ListenerObservation) => Partial<ListenerObservation>,
): RunObservations => ({
  ...observed,
  listeners: observed.listeners.map((one) => (one.host === host ? { ...one, ...what(one) } : one)),
});

const cut = (graph: SiteGraph, from: string, to: string): SimulatedFault => ({
  kind: "outage",
  place: segmentBetween(graph, from, to),
  fromMs: 0,
});

const ofKind = (findings: readonly Finding[], kind: Finding["kind"]): Finding[] =>
  findings.filter((finding) => finding.kind === kind);

test("witnesses: given a stop that three hosts show and others rule out elsewhere, then it stays sure", () => {
  const [finding] = locate(PLAN, run(PLAN, [cut(PLAN, "core", "sw-a")])).findings;
  expect(finding?.suspects[0]).toBe(segmentBetween(PLAN, "core", "sw-a"));
  expect(finding?.confidence).toBeGreaterThan(0.9);
});

test("witnesses: given a stop at one host, then the finding says that it rests on that host and is less sure", () => {
  const [finding] = locate(PLAN, run(PLAN, [cut(PLAN, "sw-a", "a1")])).findings;
  expect(finding?.confidence).toBe(0.85);
  expect(finding?.evidence.join(" ")).toContain("This rests on a1 alone");
});

test("witnesses: given two swapped hosts and a cut trunk, then the host that clears the trunk is doubted, not its neighbours", () => {
  const { findings } = locate(PLAN, run(SWAPPED, [cut(SWAPPED, "core", "sw-a")]));
  const [mismatch] = ofKind(findings, "plan-mismatch");
  expect(mismatch?.misplaced).toEqual([{ host: "a1", plannedAt: "sw-a", seemsAt: null }]);
  expect(mismatch?.title).toBe("a1 seems to sit at core, sw-b or sw-c, not at sw-a");
  expect(findings.some(({ suspects }) => suspects[0] === segmentBetween(PLAN, "core", "sw-a"))).toBe(true);
  expect(Math.max(...findings.map(({ confidence }) => confidence))).toBeLessThan(0.9);
});

test("witnesses: given a host behind a cut trunk that says all came, then its report is doubted", () => {
  const observed = run(PLAN, [cut(PLAN, "core", "sw-a")]);
  const lying = saying(observed, "a3", () => ({ receivedPackets: 2_000, lost: [], lastArrivalMs: 19_990 }));
  const { findings } = locate(PLAN, lying);
  const [mismatch] = ofKind(findings, "plan-mismatch");
  expect(mismatch?.suspects).toEqual(["a3"]);
  expect(mismatch?.title).toBe("a3 seems to sit at core, sw-b or sw-c, not at sw-a");
  expect(findings.some(({ suspects }) => suspects[0] === segmentBetween(PLAN, "core", "sw-a"))).toBe(true);
});

test("witnesses: given losses that hosts of two switches share in the world and not in the plan, then that is said", () => {
  // b1 hangs on sw-a in truth, so it shares the trunk's losses with a2 and a3, and a1 on sw-b has none of them.
  const { findings } = locate(
    PLAN,
    run(SWAPPED, [{ kind: "loss", segment: segmentBetween(SWAPPED, "core", "sw-a"), ratio: 0.05 }]),
  );
  expect(ofKind(findings, "plan-mismatch")).not.toEqual([]);
  expect(Math.max(...findings.map(({ confidence }) => confidence))).toBeLessThan(0.9);
});

test("witnesses: given several lossy links of a site as planned, then no plan is doubted", () => {
  const lossy = ["sw-a", "sw-b"].map(
    (to): SimulatedFault => ({ kind: "loss", segment: segmentBetween(PLAN, "core", to), ratio: 0.05 }),
  );
  const { findings } = locate(PLAN, run(PLAN, lossy));
  expect(ofKind(findings, "plan-mismatch")).toEqual([]);
  expect(findings).toHaveLength(2);
});

// Three hosts on one unmanaged switch, two on another: everybody on one hears the others' reports (RFC 4541, section 2.1.1).
const HUBS = ["core--um-a", "core--um-b", "core--src", "core--far"];
const HUB_PLAN = sketchSite([...HUBS, "um-a--a1", "um-a--a2", "um-a--a3", "um-b--b1", "um-b--b2"], "core");

function heardOn(together: readonly (readonly string[])[]): RunObservations {
  const hosts = [...together.flat(), "far"];
  const board = { stream: "board", group: "233.252.0.1", source: "src", listeners: hosts, packets: 1_000 };
  return {
    ...simulateRun(HUB_PLAN, [board], [], seededRandom(1)),
    queriers: hosts.map((host) => ({ host, canHear: true, watchedFromMs: -5_000, watchedToMs: 10_000, queriers: [] })),
    membership: hosts.map((host) => ({ kind: "report", host, group: board.group, atMs: -3_000 })),
    reportsHeard: together.flatMap((some) =>
      some.flatMap((host) => some.flatMap((from) => (from === host ? [] : [{ host, from, group: board.group }]))),
    ),
  };
}

test("hearing: given hosts that hear each other as planned, then nothing is said", () => {
  expect(
    locate(
      HUB_PLAN,
      heardOn([
        ["a1", "a2", "a3"],
        ["b1", "b2"],
      ]),
    ).findings,
  ).toEqual([]);
});

const PIER_PLAN = sketchSite(
  ["core--pier", "pier--kiosk", "pier--um-hub", "um-hub--till-a", "um-hub--till-b", "core--src", "core--far"],
  "core",
);

/** The reports of kiosk and till-a go out of all ports of pier. As seen on a kernel bridge to which queries stopped coming. */
test.each([
  ["queries come to", 9_000, ["kiosk"]],
  ["no queries come to any more", -4_500, []],
])(
  "hearing: given hosts that %s, then whom they hear tells their place only where a switch is asked",
  (_, lastMs, told) => {
    const behind = ["kiosk", "till-a", "till-b"];
    const board = {
      stream: "board",
      group: "233.252.0.1",
      source: "src",
      listeners: ["kiosk", "till-a"],
      packets: 1_000,
    };
    const asked = {
      address: "192.0.2.1",
      family: 4,
      version: 3,
      queries: 10,
      firstMs: -9_000,
      intervalMs: 500,
    } as const;
    const run: RunObservations = {
      ...simulateRun(PIER_PLAN, [board], [], seededRandom(1)),
      queriers: [...behind, "src", "far"].map((host) => ({
        host,
        canHear: true,
        watchedFromMs: -9_000,
        watchedToMs: 10_000,
        queriers: [{ ...asked, lastMs: behind.includes(host) ? lastMs : 9_000 }],
      })),
      membership: board.listeners.map((host) => ({ kind: "report", host, group: board.group, atMs: -3_000 })),
      reportsHeard: board.listeners.flatMap((from) =>
        behind.filter((host) => host !== from).map((host) => ({ host, from, group: board.group })),
      ),
    };
    const { findings } = locate(PIER_PLAN, run);
    expect(findings.flatMap(({ misplaced = [] }) => misplaced).map(({ host }) => host)).toEqual(told);
  },
);

test("hearing: given a healthy run in which two hosts hear each other's neighbours, then each sits in the other's place", () => {
  const { findings } = locate(
    HUB_PLAN,
    heardOn([
      ["b1", "a2", "a3"],
      ["a1", "b2"],
    ]),
  );
  expect(findings.flatMap(({ misplaced = [] }) => misplaced)).toEqual([
    { host: "b1", plannedAt: "um-b", seemsAt: "um-a" },
    { host: "a1", plannedAt: "um-a", seemsAt: "um-b" },
  ]);
  expect(findings.map(({ kind, title }) => [kind, title])).toEqual([
    ["plan-mismatch", "b1 and a1 seem to sit in each other's place: b1 at um-a, a1 at um-b"],
  ]);
});

test("hearing: given switches that hand reports on to everybody, then no plan is doubted", () => {
  expect(locate(HUB_PLAN, heardOn([["a1", "a2", "a3", "b1", "b2", "far"]])).findings).toEqual([]);
});
