import { readFileSync } from "node:fs";
import { loadSitePlan } from "@dyetrace/site";
import { expect, test } from "vitest";
import type { Finding } from "../../../packages/locate/src/finding/finding.ts";
import { locate } from "../../../packages/locate/src/locate.ts";
import type { RunObservations } from "../../../packages/locate/src/run/run-observations.ts";
import { seededRandom } from "../seeded-random.ts";
import { simulateRun } from "../simulate-run.ts";
import type { SimulatedFault, SimulatedStream } from "../simulated-fault.ts";
import { type CountedDrop, DROP_PLACES, simulateDevices } from "./simulate-devices.ts";

/** The demo plan, whose switches and access point can be read; the small switch without management cannot. */
const PLAN = new URL("../../../packages/practice/demo/quillfen.yaml", import.meta.url);
const graph = loadSitePlan(readFileSync(PLAN, "utf8"), "quillfen.yaml");
const hosts = [...graph.nodes.values()].filter(({ kind }) => kind === "host").map(({ name }) => name);
const devices = [...graph.nodes.values()].filter(({ kind }) => kind === "switch" || kind === "access-point");
const READ = new Set(devices.map(({ name }) => name));
const stream = (source: string, last: number): SimulatedStream => ({
  ...{ stream: `from ${source}`, group: `239.195.10.${last}`, source, packets: 1_000 },
  listeners: hosts.filter((host) => host !== source),
});
const STREAMS = [stream("tower", 4), stream("office", 5)];

interface Outcome {
  readonly drop: CountedDrop;
  readonly without: readonly Finding[];
  readonly withDevices: readonly Finding[];
  readonly disagreements: readonly Finding[];
}

/** A finding that accuses no place: what devices say beside the agents. */
const isDisagreement = ({ kind }: Finding): boolean => kind === "device-disagrees";

function play(drop: CountedDrop, seed: number, background = 20): Outcome {
  const random = seededRandom(seed);
  const fault: SimulatedFault =
    drop.ratio === 1
      ? { kind: "dead-segment", segment: drop.segment }
      : { kind: "loss", segment: drop.segment, ratio: drop.ratio };
  const agents = simulateRun(graph, STREAMS, [fault], random);
  const counted = simulateDevices({ graph, streams: STREAMS, drop, read: READ, background }, random);
  const read: RunObservations = { ...agents, devices: counted };
  const { findings } = locate(graph, read);
  return {
    ...{ drop, without: locate(graph, agents).findings },
    withDevices: findings.filter((one) => !isDisagreement(one)),
    disagreements: findings.filter(isDisagreement),
  };
}

const median = (counts: readonly number[]): number =>
  counts.toSorted((a, b) => a - b)[counts.length >> 1] ?? Number.NaN;
const drops = (ratio: number): CountedDrop[] =>
  [...graph.segments.keys()].flatMap((segment) => DROP_PLACES.map((where) => ({ segment, where, ratio })));
const suspectsIn = (findings: readonly Finding[]): number =>
  findings.reduce((sum, one) => sum + one.suspects.length, 0);

test("given everything dropped on each link in each direction, before and behind its ports' counters, then the median of suspects falls from 3 to 1 and none is wrong", () => {
  const outcomes = [1, 2].flatMap((seed) => drops(1).map((drop, index) => play(drop, 1000 * seed + index)));
  const visible = outcomes.filter(({ without }) => without.length > 0);
  const wrong = visible.filter(
    ({ drop, withDevices }) => !withDevices.every((one) => one.suspects.includes(drop.segment)),
  );
  expect(wrong.map(({ drop, withDevices }) => [drop, withDevices.map(({ suspects }) => suspects)])).toEqual([]);
  expect(visible.length).toBeGreaterThanOrEqual(100);
  expect(median(visible.map(({ without }) => suspectsIn(without)))).toBe(3);
  expect(median(visible.map(({ withDevices }) => suspectsIn(withDevices)))).toBe(1);
});

test("given 20 per cent dropped on each link that carries the streams, then counters leave fewer suspects and none is wrong", () => {
  const outcomes = drops(0.2).map((drop, index) => play(drop, 5000 + index));
  const visible = outcomes.filter(({ without }) => without.length > 0);
  const wrong = visible.filter(
    ({ drop, without, withDevices }) =>
      without.some((one) => one.suspects.includes(drop.segment)) &&
      !withDevices.some((one) => one.suspects.includes(drop.segment)),
  );
  expect(wrong.map(({ drop, withDevices }) => [drop, withDevices.map(({ suspects }) => suspects)])).toEqual([]);
  const sums = [
    visible.map(({ without }) => suspectsIn(without)),
    visible.map(({ withDevices }) => suspectsIn(withDevices)),
  ];
  const [before = 0, after = 0] = sums.map((counts) => counts.reduce((sum, one) => sum + one, 0));
  expect(after).toBeLessThan(0.85 * before);
});

test("given a site so busy that its own frames drown the streams, then nothing is ruled out by counters that cannot tell", () => {
  for (const [index, drop] of drops(1).entries()) {
    const { without, withDevices } = play(drop, 9000 + index, 20_000);
    if (without.length === 0) continue;
    expect(withDevices.some((one) => one.suspects.includes(drop.segment))).toBe(true);
  }
});

test("given membership reports that are lost on the way up, then the table tells it, and the sentence names its port and the host", () => {
  const [finding] = play({ segment: "kiosk-1:eth0>pier-east:1", where: "wire", ratio: 1 }, 7).withDevices;
  expect(finding?.suspects).toEqual(["kiosk-1:eth0>pier-east:1"]);
  expect(finding?.evidence).toContain(
    "pier-east's table has no entry for 239.195.10.4 on port 1: the reports of kiosk-1 do not get there.",
  );
  expect(finding?.advice).toMatch(/^Follow the membership reports/);
});

test("given frames that are lost on a cable, then the sentence says what went out and what came in", () => {
  const [finding] = play({ segment: "core:1>pier-east:24", where: "wire", ratio: 1 }, 7, 0).withDevices;
  expect(finding?.suspects).toEqual(["core:1>pier-east:24"]);
  const [sentence] = finding?.evidence.filter((line) => line.startsWith("core sent")) ?? [];
  expect(sentence).toMatch(
    /^core sent 200\d multicast frames out of port 1 and pier-east counted (none|\d) of them coming in: the cable or its ports\.$/,
  );
  expect(finding?.evidence).toContain("That rules out pier-east, pier-east:24>core:1.");
});

test("given frames that a switch counted going out to a host that received none, then that is told beside, and accuses nobody", () => {
  const { withDevices, disagreements } = play({ segment: "pier-east:1>kiosk-1:eth0", where: "wire", ratio: 1 }, 7, 0);
  expect(withDevices[0]?.suspects).toContain("pier-east:1>kiosk-1:eth0");
  expect(disagreements).toMatchObject([
    { suspects: [], title: "pier-east counted frames going out to kiosk-1, and kiosk-1 received none of the test's" },
  ]);
  // Its table was read: the advice says what it said, and does not send anybody to it.
  expect(withDevices[0]?.advice).toMatch(/^pier-east lists the port towards kiosk-1/);
});

test("given one counter of a switch on the way that lies in any way, then no innocent place is added to the suspects", () => {
  const lies: readonly ((frames: number) => number)[] = [() => 0, (n) => 2 * n, (n) => Math.round(n / 3), () => 5_000];
  for (const [index, drop] of drops(1).entries()) {
    const random = seededRandom(600 + index);
    const agents = simulateRun(graph, STREAMS, [{ kind: "dead-segment", segment: drop.segment }], random);
    const without = locate(graph, agents).findings;
    if (without.length === 0) continue;
    const counted = simulateDevices({ graph, streams: STREAMS, drop, read: READ, background: 20 }, random);
    const liar = Math.floor(random() * counted.length);
    const port = Math.floor(random() * (counted[liar]?.ports.length ?? 1));
    const lie = lies[index % lies.length] ?? ((n: number) => n);
    const lying = counted.map((device, at) => ({
      ...device,
      ports: device.ports.map((one, number) =>
        at !== liar || number !== port || one.out === null
          ? one
          : { ...one, out: { ...one.out, frames: lie(one.out.frames) } },
      ),
    }));
    const { findings } = locate(graph, { ...agents, devices: lying });
    const known = new Set(without.flatMap(({ suspects }) => suspects));
    const added = findings.flatMap(({ suspects }) => suspects).filter((one) => !known.has(one));
    expect(added).toEqual([]);
  }
});

test("given no device that was read, then the conclusion is the same, word for word", () => {
  const random = seededRandom(3);
  const fault: SimulatedFault = { kind: "dead-segment", segment: "core:1>pier-east:24" };
  const agents = simulateRun(graph, STREAMS, [fault], random);
  expect(locate(graph, { ...agents, devices: [] })).toEqual(locate(graph, agents));
});

test("given a counter that shows less than a host received behind it, then it is not believed, and that is said", () => {
  const random = seededRandom(4);
  const fault: SimulatedFault = { kind: "dead-segment", segment: "core:2>pier-west:24" };
  const agents = simulateRun(graph, STREAMS, [fault], random);
  const drop: CountedDrop = { segment: "core:2>pier-west:24", where: "wire", ratio: 1 };
  const counted = simulateDevices({ graph, streams: STREAMS, drop, read: READ, background: 0 }, random);
  const broken = counted.map((device) =>
    device.node !== "core"
      ? device
      : {
          ...device,
          ports: device.ports.map((port) => ({
            ...port,
            out: port.out === null ? null : { ...port.out, frames: port.port === "3" ? 2_000 : 1 },
          })),
        },
  );
  const { findings } = locate(graph, { ...agents, devices: broken });
  const told = findings.find(isDisagreement);
  expect(told).toMatchObject({ suspects: [], title: expect.stringMatching(/^core's counters are not used/) });
  expect(told?.evidence.join("\n")).toMatch(
    /core counted 1 multicast frame going out of port 1, but kiosk-[12] received 1000 packets/,
  );
  expect(findings[0]?.suspects).toContain("core:2>pier-west:24");
});
