import { expect, test } from "vitest";
import { seededRandom } from "../../../../tests/simulation/seeded-random.ts";
import { simulateRun } from "../../../../tests/simulation/simulate-run.ts";
import type { SimulatedStream } from "../../../../tests/simulation/simulated-fault.ts";
import { segmentBetween, sketchSite } from "../../../../tests/simulation/sketch-site.ts";
import { locate } from "../locate.ts";
import { coverage } from "./coverage.ts";

/**
 * Worked by hand from the definition: two single faults can be told apart if and only if they silence different pairs of
 * source and listener (L. Ma et al., Node failure localization via network tomography, IMC 2014). The gain of one more
 * listener is the entropy of what it would see: 1 bit where it halves the suspects.
 */
const site = sketchSite([
  "S1--sw1",
  "sw1--sw2",
  "sw2--L1",
  "sw2--um1",
  "um1--L2",
  "um1--L3",
  "sw1--rt1",
  "rt1--sw3",
  "sw3--L4",
  "sw3--ap1",
  "ap1--L5",
]);
const link = (from: string, to: string): string => segmentBetween(site, from, to);
const LISTENERS = ["L1", "L2", "L3", "L4", "L5"];
const setWith = (sets: readonly (readonly string[])[], name: string): string[] =>
  [...(sets.find((set) => set.includes(name)) ?? [])].toSorted();

test("coverage: given one source, then a chain without a branch, its nodes and the way of its reports form one set", () => {
  const { ambiguousSets } = coverage(site, ["S1"], LISTENERS);
  expect(setWith(ambiguousSets, link("sw1", "rt1"))).toEqual(
    [link("sw1", "rt1"), link("rt1", "sw1"), "rt1", link("rt1", "sw3"), link("sw3", "rt1"), "sw3"].toSorted(),
  );
  expect(setWith(ambiguousSets, link("sw2", "um1"))).toEqual(
    [link("sw2", "um1"), link("um1", "sw2"), "um1"].toSorted(),
  );
});

test("coverage: given a hub with two listeners, then reports lost behind it silence nobody and stay untested", () => {
  const { untested, ambiguousSets } = coverage(site, ["S1"], LISTENERS);
  expect(setWith(ambiguousSets, link("um1", "L2"))).toEqual([link("um1", "L2"), "L2"].toSorted());
  expect(untested).toContain(link("L2", "um1"));
});

test("coverage: given the chain behind sw1 alone, then the next agent goes to rt1, which halves it: 1 bit", () => {
  const chain = sketchSite(["S1--sw1", "sw1--L1", "sw1--rt1", "rt1--sw3", "sw3--L4", "sw3--L6"]);
  const { nextAgentAt, nextAgentGainBits } = coverage(chain, ["S1"], ["L1", "L4", "L6"]);
  expect(nextAgentAt).toBe("rt1");
  expect(nextAgentGainBits).toBeCloseTo(1, 9);
});

test("coverage: given a second source, then it parts a node from the segment into it", () => {
  const one = coverage(site, ["S1"], LISTENERS);
  const two = coverage(site, ["S1", "L4"], LISTENERS);
  expect(setWith(one.ambiguousSets, "rt1")).toContain("sw3");
  expect(setWith(two.ambiguousSets, "rt1")).not.toContain("sw3");
  expect(two.separableRatio ?? 0).toBeGreaterThan(one.separableRatio ?? 1);
});

test("coverage: given no listener, then nothing is tested and no ratio is made up", () => {
  const none = coverage(site, ["S1"], []);
  expect(none.ambiguousSets).toEqual([]);
  expect(none.separableRatio).toBeNull();
  expect(none.nextAgentAt).toBeNull();
  expect(none.untested).toHaveLength(site.segments.size + site.nodes.size);
});

test("coverage: given two listeners below one switch, then the switch and both listeners' double fault look the same", () => {
  const fork = sketchSite(["S1--sw1", "sw1--sw2", "sw1--L0", "sw2--L1", "sw2--L2"]);
  const { separableRatio, separablePairsRatio } = coverage(fork, ["S1"], ["L0", "L1", "L2"]);
  expect(separableRatio).toBeGreaterThan(0.5);
  expect(separablePairsRatio).not.toBeNull();
  expect(separablePairsRatio ?? 1).toBeLessThan(1);
});

test("locate: given suspects that one more agent would part, then the finding says where to put it", () => {
  const stream: SimulatedStream = {
    stream: "film",
    group: "233.252.0.1",
    source: "S1",
    listeners: LISTENERS,
    packets: 1_000,
  };
  const run = simulateRun(site, [stream], [{ kind: "dead-node", node: "rt1" }], seededRandom(1));
  const [finding] = locate(site, run).findings;
  expect(finding?.suspects).toContain("rt1");
  expect(finding?.evidence).toContain(
    "One more agent beside rt1, listening to the same, would tell these suspects apart best.",
  );
});
