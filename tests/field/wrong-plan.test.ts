import type { RunReport } from "@dyetrace/wire";
import { afterAll, beforeAll, expect, test } from "vitest";
import { type PracticeBench, raiseBench } from "./support/practice-bench.ts";
import { findingOf, tell } from "./support/report-look-up.ts";

/**
 * A site that is not as its plan: built from one plan, run against another in which two hosts are in each other's place.
 * What tells them is the site's own frames: behind an unmanaged switch hosts hear each other's membership reports, and
 * switches hand those on to nobody but the querier (RFC 4541, section 2.1.1, rule 1). So hearing cannot tell two hosts that
 * are alone on ports of switches, such as kiosk and booth here: neither hears anybody, in either place. With two hosts on
 * each of cabin and deck it could not say which two: the hosts that stayed may as well have gone.
 */
const plan = (onCabin: string, onDeck: string): string => `
site: Quillfen Ferry Terminal, upper deck
nodes:
  core: { kind: switch, querier: true }
  hall: { kind: switch }
  pier: { kind: switch }
  cabin: { kind: unmanaged }
  deck: { kind: unmanaged }
  tower: { kind: host }
  kiosk: { kind: host }
  booth: { kind: host }
  ${onCabin}: { kind: host }
  cabin-2: { kind: host }
  cabin-3: { kind: host }
  ${onDeck}: { kind: host }
  deck-2: { kind: host }
links:
  - core:1 -- hall:24
  - core:2 -- pier:24
  - core:9 -- tower:eth0
  - hall:1 -- cabin:8
  - hall:2 -- kiosk:eth0
  - pier:1 -- deck:8
  - pier:2 -- booth:eth0
  - cabin:1 -- ${onCabin}:eth0
  - cabin:2 -- cabin-2:eth0
  - cabin:3 -- cabin-3:eth0
  - deck:1 -- ${onDeck}:eth0
  - deck:2 -- deck-2:eth0
`;
const TRUE_PLAN = plan("cabin-1", "deck-1");
const WRONG_PLAN = plan("deck-1", "cabin-1");

/** Of the two one is a listener and one a bystander; kiosk's reports must reach nobody. */
const SCENARIO = `
scenario: board
streams:
  - { name: board, source: tower, group: 239.195.42.1, rate: 1 Mbit/s }
timeline:
  - { at: 0s, join: board, agents: [cabin-1, cabin-2, cabin-3, deck-2, kiosk] }
  - { at: 1s, emit: board }
  - { at: 4s, stop: board }
expect: { loss: 2 % }
`;

let bench: PracticeBench;
beforeAll(async () => {
  bench = await raiseBench(TRUE_PLAN);
});
afterAll(() => bench[Symbol.asyncDispose]());

const BOTH = ["cabin-1: deck > cabin", "deck-1: cabin > deck"];
const misplaced = (report: RunReport): string[] =>
  (findingOf(report, "plan-mismatch").misplaced ?? [])
    .map(({ host, plannedAt, seemsAt }) => `${host}: ${plannedAt} > ${seemsAt}`)
    .toSorted();

test("wrong plan: given the plan as it is built and a healthy run, then nobody is misplaced", async () => {
  const report = await bench.run(SCENARIO);
  expect(report.findings, tell(report)).toEqual([]);
});

test("wrong plan: given two hosts in each other's place and a healthy run, then both are named", async () => {
  const report = await bench.run(SCENARIO, { plan: WRONG_PLAN });
  expect(misplaced(report), tell(report)).toEqual(BOTH);
});

test("wrong plan: given that and a trunk that stops all, then both are named, and the trunk", async () => {
  const trunk = "core:1>hall:24";
  const report = await bench.run(SCENARIO, { plan: WRONG_PLAN, faults: [`drop, on: "${trunk}", share: 100 %`] });
  expect(misplaced(report), tell(report)).toEqual(BOTH);
  const stop = findingOf(report, "stops");
  expect(stop.suspects[0]).toBe(trunk);
  expect(stop.confidence).toBeLessThan(0.9);
});
