import { expect, test } from "vitest";
import { sketchSite } from "../../../tests/simulation/sketch-site.ts";
import { type SharedTrial, sharedCauses } from "./locate-shared.ts";

/** The worked example of silence on one tree: L1 on sw2 directly, L2 and L3 behind um1, L4 behind a router. */
const SITE = sketchSite(["S1--sw1", "sw1--sw2", "sw2--L1", "sw2--um1", "um1--L2", "um1--L3", "sw1--rt1", "rt1--L4"]);

const trial = (hit: string[], spared: string[], more: Partial<SharedTrial> = {}): SharedTrial => ({
  stream: "music",
  group: "233.252.0.1",
  source: "S1",
  isSourceSpecific: false,
  hit,
  spared,
  isSilence: false,
  ...more,
});

test("sharedCauses: given loss at both hosts behind one switch and at nobody else, then the link to it and the switch", () => {
  const [cause, ...others] = sharedCauses(SITE)([trial(["L2", "L3"], ["L1", "L4"])]);
  expect(others).toEqual([]);
  // Duffield 2003: the top link of the subtree that was hit as a whole, with the node below it.
  expect(cause?.suspects).toEqual(["sw2:3>um1:1", "um1"]);
  expect(cause?.hosts).toEqual(["L2", "L3"]);
  expect(cause?.confidence).toBeGreaterThan(0.9);
});

test("sharedCauses: given silence, then lost membership reports may be the cause as well", () => {
  const [cause] = sharedCauses(SITE)([trial(["L2", "L3"], ["L1", "L4"], { isSilence: true })]);
  expect(cause?.suspects).toEqual(["sw2:3>um1:1", "um1", "um1:1>sw2:3"]);
  expect(cause?.kinds).toContain("reports");
});

test("sharedCauses: given hosts on two branches and others beside them spared, then two causes, not one above both", () => {
  const causes = sharedCauses(SITE)([trial(["L2", "L3", "L4"], ["L1"])]);
  expect(causes.map(({ hosts }) => hosts)).toEqual([["L2", "L3"], ["L4"]]);
});

test("sharedCauses: given another group that came through the same place, then only causes that concern one group", () => {
  const other = { stream: "speech", group: "233.252.0.2" };
  const [cause] = sharedCauses(SITE)([trial(["L2", "L3"], ["L1", "L4"]), trial([], ["L2", "L3"], other)]);
  expect(cause?.suspects).toEqual(["sw2:3>um1:1", "um1"]);
  expect(cause?.kinds).toEqual(["link-group", "node-group"]);
});

test("sharedCauses: given everybody hit, then the source and the way up to the first branch", () => {
  const [cause] = sharedCauses(SITE)([trial(["L1", "L2", "L3", "L4"], [])]);
  expect(cause?.suspects).toEqual(["S1:1>sw1:1", "sw1", "S1"]);
});

test("sharedCauses: given one host hit, then its own link and itself", () => {
  const [cause] = sharedCauses(SITE)([trial(["L1"], ["L2", "L3", "L4"])]);
  expect(cause?.suspects).toEqual(["sw2:2>L1:1", "L1"]);
});

test("sharedCauses: given nobody hit, or nobody whom the plan connects to the source, then no cause", () => {
  const causes = sharedCauses(SITE);
  expect(causes([trial([], ["L1", "L2"])])).toEqual([]);
  expect(causes([trial(["nowhere"], ["L1"])])).toEqual([]);
  expect(causes([trial(["L1"], [], { source: "nowhere" })])).toEqual([]);
});
