import { expect, test } from "vitest";
import { type FailureElement, placeNames } from "../../packages/locate/src/cover/failure-element.ts";
import { type NamedFailure, smallestFailureSet } from "../../packages/locate/src/cover/failure-set.ts";
import type { PathTrial } from "../../packages/locate/src/cover/path-trial.ts";
import { indexSite } from "../../packages/locate/src/site/site-index.ts";
import { sourceTree } from "../../packages/locate/src/site/source-tree.ts";
import { sketchSite } from "../simulation/sketch-site.ts";

/**
 * Boolean tomography: the smallest consistent failure set of N. Duffield, "Simple network performance tomography" (IMC
 * 2003) and "Network tomography of binary network performance characteristics" (IEEE Trans. IT 52(12), 2006). On one
 * tree the rule names the top link of every maximal subtree whose leaves are all bad. The cases below were worked by
 * hand from that rule on one site:
 *
 *     S1--sw1--sw2--L1         g1 from S1, g2 from S2
 *          |    `--um1--L2, L3
 *         rt1
 *          `--sw3--L4, ap1--L5, S2
 */
const graph = sketchSite([
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
  "sw3--S2",
]);
const site = indexSite(graph);
const numberOf = (name: string): number => site.nodeNumber.get(name) ?? -1;

const wholeRun = { startMs: 0, endMs: 20_000 };

function trial(groupKey: string, source: string, good: readonly string[], bad: readonly string[]): PathTrial {
  return {
    tree: sourceTree(site, numberOf(source)),
    groupKey,
    payloadBytes: 1316,
    members: null,
    outcomes: [
      ...good.map((host) => ({ leaf: numberOf(host), good: wholeRun, bad: null, marginMs: 0 })),
      ...bad.map((host) => ({ leaf: numberOf(host), good: null, bad: wholeRun, marginMs: 0 })),
    ],
  };
}

/** Node pairs and nodes, as "sw2>um1" and "um1", with the group where the element has one. */
function names(failure: NamedFailure | undefined): string[] {
  const short = (element: FailureElement): string => {
    const segment = site.segments[element.place];
    const [place = ""] = placeNames(site, element);
    const name = place.includes(">") ? `${segment?.from.node}>${segment?.to.node}` : place;
    return element.groupKey === null ? name : `${name} ${element.groupKey}`;
  };
  // Whole directions and hosts are our own addition to the element kinds of the literature: here they always stand
  // beside their link and receiver.
  return (failure?.elements ?? []).filter((e) => e.kind !== "direction" && e.kind !== "host").map(short);
}

test("smallest failure set: given g1 silent at L2 and L3, then the link sw2>um1 is named, inseparable from node um1 and both group kinds", () => {
  const { failures } = smallestFailureSet(site, [trial("g1", "S1", ["L1", "L4", "L5"], ["L2", "L3"])]);
  expect(failures).toHaveLength(1);
  expect(names(failures[0])).toEqual(["sw2>um1", "sw2>um1 g1", "um1", "um1 g1"]);
});

test("smallest failure set: given that g2 comes through the same place, then only the group kinds are left", () => {
  const { failures } = smallestFailureSet(site, [
    trial("g1", "S1", ["L1", "L4", "L5"], ["L2", "L3"]),
    trial("g2", "S2", ["L1", "L2"], []),
  ]);
  expect(failures).toHaveLength(1);
  expect(names(failures[0])).toEqual(["sw2>um1 g1", "um1 g1"]);
});

test("smallest failure set: given g2 at L1 but not at L2 and L3 either, then one all-group element explains four pairs", () => {
  const { failures } = smallestFailureSet(site, [
    trial("g1", "S1", ["L1", "L4", "L5"], ["L2", "L3"]),
    trial("g2", "S2", ["L1"], ["L2", "L3"]),
  ]);
  expect(failures).toHaveLength(1);
  expect(failures[0]?.pairs).toHaveLength(4);
  expect(names(failures[0])).toEqual(["sw2>um1", "um1"]);
});

test("smallest failure set: given two maximal silent subtrees, then two faults are named, each with its own chain", () => {
  const { failures, isExact } = smallestFailureSet(site, [trial("g1", "S1", ["L1", "L4"], ["L2", "L3", "L5"])]);
  expect(isExact).toBe(true);
  expect(failures).toHaveLength(2);
  const chains = failures.map(names);
  expect(chains).toContainEqual(["sw2>um1", "sw2>um1 g1", "um1", "um1 g1"]);
  const chain = chains.find((set) => set.includes("sw3>ap1"));
  expect(chain?.toSorted()).toEqual(
    ["sw3>ap1", "ap1", "ap1>L5", "L5", "sw3>ap1 g1", "ap1 g1", "ap1>L5 g1", "L5 g1"].toSorted(),
  );
});

test("smallest failure set: given L4 and L5 silent, then one fault on the chain to sw3, though two at the ends would explain it too", () => {
  const { failures } = smallestFailureSet(site, [trial("g1", "S1", ["L1", "L2", "L3"], ["L4", "L5"])]);
  expect(failures).toHaveLength(1);
  expect(names(failures[0]).toSorted()).toEqual(
    ["sw1>rt1", "rt1", "rt1>sw3", "sw3", "sw1>rt1 g1", "rt1 g1", "rt1>sw3 g1", "sw3 g1"].toSorted(),
  );
  expect(failures[0]?.faultsOtherwise).toBe(2);
});

test("smallest failure set: given a listener that stayed silent about itself, then it neither accuses nor clears", () => {
  // L3 gives no outcome: L2 alone is bad, so its own last link and all above it up to sw2 stay suspect.
  const { failures } = smallestFailureSet(site, [trial("g1", "S1", ["L1", "L4", "L5"], ["L2"])]);
  expect(
    names(failures[0])
      .filter((name) => !name.includes(" "))
      .toSorted(),
  ).toEqual(["sw2>um1", "um1", "um1>L2", "L2"].toSorted());
});

test("smallest failure set: given a source placed in the chain, then the node is cleared and the segment into it is left", () => {
  // "Identifiability": a source at rt1 heard at L4 and L5 covers the path from rt1 on, which no listener can.
  const withSource = [trial("g1", "S1", ["L1", "L2", "L3"], ["L4", "L5"]), trial("g3", "rt1", ["L4", "L5", "L1"], [])];
  const { failures } = smallestFailureSet(site, withSource);
  const allGroups = names(failures[0]).filter((name) => !name.includes(" "));
  expect(allGroups).toContain("sw1>rt1");
  expect(allGroups).not.toContain("rt1>sw3");
  expect(allGroups).not.toContain("sw3");
});
