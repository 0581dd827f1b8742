import { byDesignReach } from "@dyetrace/site";
import fc from "fast-check";
import { expect, test } from "vitest";
import { randomSite } from "../../../../tests/simulation/random-site.ts";
import { seededRandom } from "../../../../tests/simulation/seeded-random.ts";
import { simulateRun } from "../../../../tests/simulation/simulate-run.ts";
import type { SimulatedFault, SimulatedStream } from "../../../../tests/simulation/simulated-fault.ts";
import { segmentBetween, sketchSite } from "../../../../tests/simulation/sketch-site.ts";
import type { Finding } from "../finding/finding.ts";
import { locate } from "../locate.ts";
import type { RunObservations } from "../run/run-observations.ts";
import { indexSite } from "../site/site-index.ts";
import { sourceTree } from "../site/source-tree.ts";
import { wantedPorts } from "./wanted-ports.ts";

/**
 * Worked by hand from RFC 4541, section 2.1.2: reach by design is S1, sw1, um1, L1, B2 (shares L1's port), sw2, L2, um2,
 * B6 and rt1 (router port); B1, B3, B4 and B5 are outside.
 */
const site = sketchSite([
  "S1--sw1",
  "sw1--um1",
  "um1--L1",
  "um1--B2",
  "sw1--B1",
  "sw1--sw2",
  "sw2--L2",
  "sw2--B3",
  "sw2--B4",
  "sw1--um2",
  "um2--B6",
  "um2--rt1",
  "rt1--sw3",
  "sw3--B5",
]);
const bystanders = ["B1", "B2", "B3", "B4", "B5", "B6"];
const tour: SimulatedStream = {
  stream: "tour",
  group: "233.252.0.3",
  source: "S1",
  listeners: ["L1", "L2"],
  bystanders,
  packets: 3_000,
};

/** The run in which exactly these bystanders saw every frame. */
function seenBy(hosts: readonly string[]): RunObservations {
  const run = simulateRun(site, [tour], [], seededRandom(1));
  return {
    ...run,
    bystanders: run.bystanders.map((bystander) =>
      hosts.includes(bystander.host)
        ? { ...bystander, frames: 3_000, ranges: [[0, 2_999]], firstMs: 0, lastMs: 29_990, isGroupUsedByHost: null }
        : { ...bystander, frames: 0, ranges: [], firstMs: null, lastMs: null },
    ),
  };
}

const leaksSeenBy = (hosts: readonly string[]): readonly Finding[] => locate(site, seenBy(hosts)).findings;
const link = (from: string, to: string): string => segmentBetween(site, from, to);

test("leaks: given frames only at bystanders that share a port or sit on the way to a router, then nothing is named", () => {
  expect(leaksSeenBy(["B2", "B6"])).toEqual([]);
});

test("leaks: given frames also at B3 and B4, then the node sw2 is named, out of several ports", () => {
  const [finding, ...rest] = leaksSeenBy(["B2", "B6", "B3", "B4"]);
  expect(rest).toEqual([]);
  expect(finding?.kind).toBe("leaks");
  expect(finding?.suspects.slice(0, 3)).toEqual(["sw2", link("sw2", "B3"), link("sw2", "B4")]);
  expect(finding?.title).toContain("leaks out of several ports of sw2");
});

test("leaks: given frames at B3 and B4 until the member beside them leaves, then the switch floods all the time; not now and then", () => {
  const run = seenBy(["B2", "B6", "B3", "B4"]);
  const left = { joinedToMs: 8_000, window: [0, 799] as const, receivedPackets: 800 };
  const [finding] = locate(site, {
    ...run,
    listeners: run.listeners.map((one) => (one.host === "L2" ? { ...one, ...left } : one)),
    bystanders: run.bystanders.map((one) =>
      ["B3", "B4"].includes(one.host) ? { ...one, frames: 1_000, ranges: [[0, 999]], lastMs: 10_000 } : one,
    ),
  }).findings;
  expect(finding?.title).toContain("leaks out of several ports of sw2");
});

test("leaks: given frames only from the time on at which memberships run out, then the switch forgot them and floods", () => {
  const run = seenBy(["B2", "B6", "B3", "B4"]);
  // Two query intervals and the response time: 11 s (RFC 3376, section 8.4).
  const timers = { ...run.timers, queryIntervalMs: 5_000, queryResponseMs: 1_000, robustness: 2 };
  const [finding, ...rest] = locate(site, {
    ...run,
    timers,
    bystanders: run.bystanders.map((one) =>
      ["B3", "B4"].includes(one.host) ? { ...one, frames: 1_900, ranges: [[1_100, 2_999]], firstMs: 11_000 } : one,
    ),
  }).findings;
  expect(rest).toEqual([]);
  expect(finding?.title).toContain("leaks out of sw2 since memberships timed out");
});

test("leaks: given frames at B3 while B4 stays quiet, then the port is named, and B3's own host or a querier there as alternative", () => {
  const [finding] = leaksSeenBy(["B2", "B6", "B3"]);
  expect(finding?.suspects).toEqual([link("sw2", "B3"), "B3"]);
  expect(finding?.evidence.join(" ")).toContain("A bystander behind another closed port of sw2 saw nothing");
});

test("leaks: given frames only at B1, the only closed port of sw1, then it may be the node or the port", () => {
  const [finding] = leaksSeenBy(["B2", "B6", "B1"]);
  expect(finding?.suspects.slice(0, 2)).toEqual([link("sw1", "B1"), "sw1"]);
  expect(finding?.evidence.join(" ")).toContain("its other ports may leak as well");
});

test("leaks: given frames at B5 behind a router, then both nodes are named and one hidden member is preferred", () => {
  const [finding] = leaksSeenBy(["B2", "B6", "B5"]);
  expect(finding?.suspects[0]).toBe("B5");
  expect(finding?.suspects).toEqual(expect.arrayContaining([link("rt1", "sw3"), link("sw3", "B5"), "rt1", "sw3"]));
});

test("leaks: given a host whose agent made sure that no program there joined, then that host is no explanation", () => {
  const run = seenBy(["B2", "B6", "B3"]);
  const checked = { ...run, bystanders: run.bystanders.map((b) => ({ ...b, isGroupUsedByHost: false })) };
  expect(locate(site, checked).findings[0]?.suspects).toEqual([link("sw2", "B3")]);
});

test("leaks: given a host on which another program joined the group, then the frames there are wanted", () => {
  const run = seenBy(["B2", "B6", "B3"]);
  const used = { ...run, bystanders: run.bystanders.map((b) => ({ ...b, isGroupUsedByHost: true })) };
  expect(locate(site, used).findings).toEqual([]);
});

test("leaks: given a bystander that cannot see, then its silence does not turn a node into a port", () => {
  const run = seenBy(["B2", "B6", "B3"]);
  const blind = { ...run, bystanders: run.bystanders.map((b) => (b.host === "B4" ? { ...b, canSee: false } : b)) };
  expect(locate(site, blind).findings[0]?.suspects).toContain("sw2");
});

test("leaks: given a group that nobody in the domain joined, then it is called an unregistered flood", () => {
  const run = simulateRun(
    site,
    [{ ...tour, listeners: [] }],
    [
      { kind: "flooding-node", node: "sw1" },
      { kind: "flooding-node", node: "sw2" },
    ],
    seededRandom(1),
  );
  const leaks = locate(site, run).findings.filter((finding) => finding.kind === "leaks");
  expect(leaks.length).toBeGreaterThan(0);
  for (const finding of leaks) expect(finding.title).toContain("where nobody has joined it");
});

/** B3 and B4 see the frames from `firstSeq` to `lastSeq`, 10 ms each; L1 and L2 joined 5 s before the first. */
const floodedAt = (firstSeq: number, lastSeq: number): readonly Finding[] => {
  const run = seenBy(["B3", "B4"]);
  const part = {
    frames: lastSeq - firstSeq + 1,
    ranges: [[firstSeq, lastSeq] as const],
    firstMs: 10 * firstSeq,
    lastMs: 10 * lastSeq,
  };
  return locate(site, {
    ...run,
    listeners: run.listeners.map((one) => ({ ...one, joinedFromMs: -5_000 })),
    bystanders: run.bystanders.map((one) => (one.frames > 0 ? { ...one, ...part } : one)),
  }).findings;
};

// RFC 4541, section 2.1.2, rule 3: a switch may flood a group that nobody has asked it for. The time: common practice.
test("leaks: given a flood from the first packet on that is over within 1 s, then it is no leak though members had joined", () => {
  const random = seededRandom(16);
  for (let round = 0; round < 20; round++) expect(floodedAt(0, 1 + Math.floor(100 * random()))).toEqual([]);
});

test("leaks: given a flood that lasts longer or begins later while members exist, then the switch leaks", () => {
  expect(floodedAt(0, 500).map(({ kind, suspects }) => [kind, suspects[0]])).toEqual([["leaks", "sw2"]]);
  expect(floodedAt(1_000, 1_050).map(({ kind, suspects }) => [kind, suspects[0]])).toEqual([["leaks", "sw2"]]);
});

test("leaks: given frames until just after the host's own leave, then that is the normal tail", () => {
  const run = leftAt(10_000, 12_400);
  expect(locate(site, run).findings).toEqual([]);
});

test("leaks: given frames for longer than the last member query time after the leave, then the leave is slow", () => {
  const [finding] = locate(site, leftAt(10_000, 25_000)).findings;
  expect(finding?.kind).toBe("slow-leave");
  expect(finding?.suspects[0]).toBe(link("sw2", "B3"));
  expect(finding?.title).toContain("for 15.0 s after the leave");
});

test("leaks: given frames after the leave at a host that shares its port with another member, then they are that member's", () => {
  expect(locate(site, leftAt(10_000, 25_000, "B2")).findings).toEqual([]);
});

test("leaks: given the other member gone some seconds later, then frames until its leave takes effect are its own", () => {
  const run = leftAt(10_000, 16_400, "B2");
  const other = (leftMs: number): RunObservations => ({
    ...run,
    listeners: run.listeners.map((l) => (l.host === "L1" ? { ...l, joinedToMs: leftMs, window: [0, 1_399] } : l)),
  });
  expect(locate(site, other(14_000)).findings).toEqual([]);
  expect(locate(site, other(11_000)).findings.map(({ kind }) => kind)).toEqual(["slow-leave"]);
});

test("leaks: given frames that come as a member joins and go as it leaves, then the switch leaks, however short that was", () => {
  const run = simulateRun(site, [{ ...tour, listeners: ["L1", "L2"] }], [], seededRandom(1));
  const short: RunObservations = {
    ...run,
    listeners: run.listeners.map((l) => ({ ...l, joinedFromMs: 2_000, joinedToMs: 7_000, window: [202, 699] })),
    bystanders: run.bystanders.map((b) =>
      ["B3", "B4"].includes(b.host)
        ? { ...b, frames: 700, ranges: [[202, 901]], firstMs: 2_020, lastMs: 9_010, isGroupUsedByHost: null }
        : { ...b, frames: 0, ranges: [], firstMs: null, lastMs: null },
    ),
  };
  expect(locate(site, short).findings.map(({ kind, suspects }) => [kind, suspects[0]])).toEqual([["leaks", "sw2"]]);
});

/** Twenty groups, joined by L2 every 200 ms and sent from then on; B3 and B4 see each from `seenMs` on. */
function manyGroups(seenMs: number, seen: (group: number) => boolean = () => true): RunObservations {
  const streams = Array.from({ length: 20 }, (_, k): SimulatedStream => {
    const name = `wall-${k + 1}`;
    return { ...tour, stream: name, group: `233.252.0.${k + 1}`, listeners: ["L2"], packets: 1_000 };
  });
  const run = simulateRun(site, streams, [], seededRandom(1));
  const number = (stream: string): number => Number(stream.split("-")[1]);
  const joinedMs = (stream: string): number => 200 * number(stream);
  return {
    ...run,
    streams: run.streams.map((s) => ({ ...s, firstSentMs: joinedMs(s.stream) + 50 })),
    listeners: run.listeners.map((l) => ({ ...l, joinedFromMs: joinedMs(l.stream) })),
    bystanders: run.bystanders.map((b) => {
      if (!["B3", "B4"].includes(b.host) || !seen(number(b.stream)))
        return { ...b, frames: 0, ranges: [], firstMs: null, lastMs: null };
      const firstMs = Math.max(seenMs + 5, joinedMs(b.stream) + 60);
      return { ...b, frames: 500, ranges: [[500, 999]], firstMs, lastMs: 9_990, isGroupUsedByHost: false };
    }),
  };
}

test("leaks: given groups that all begin to leak as the 17th is joined, then the table holds 16", () => {
  const [finding, ...rest] = locate(site, manyGroups(17 * 200)).findings;
  expect(rest).toEqual([]);
  expect([finding?.kind, finding?.suspects[0]]).toEqual(["leaks", "sw2"]);
  expect(finding?.title).toContain("gives out between 16 and 17 groups");
});

test("leaks: given groups that leak from the first on, or of which some never do, then no table is to blame", () => {
  for (const run of [manyGroups(0), manyGroups(17 * 200, (group) => group % 4 !== 0)]) {
    const [finding] = locate(site, run).findings;
    expect(finding?.kind).toBe("leaks");
    expect(finding?.title).not.toContain("gives out");
  }
});

/** A host was a member until `leftMs` and saw frames until `lastMs`. */
function leftAt(leftMs: number, lastMs: number, left = "B3"): RunObservations {
  const run = simulateRun(site, [{ ...tour, listeners: ["L1", "L2", left] }], [], seededRandom(1));
  const [first, last] = [leftMs / 10, lastMs / 10];
  return {
    ...run,
    listeners: run.listeners.map((l) =>
      l.host === left ? { ...l, joinedToMs: leftMs, window: [0, first - 1] as const, receivedPackets: first } : l,
    ),
    bystanders: run.bystanders.map((b) =>
      b.host === left
        ? { ...b, frames: last - first + 1, ranges: [[first, last]], firstMs: leftMs, lastMs, isGroupUsedByHost: null }
        : b,
    ),
  };
}

test("leaks: given any site and members, then the wanted ports reach what the site package's reach by design reaches", () => {
  fc.assert(
    fc.property(fc.integer({ min: 0, max: 1_000_000 }), (seed) => {
      const random = seededRandom(seed);
      const graph = randomSite(random, 5 + Math.floor(random() * 40));
      const index = indexSite(graph);
      const hosts = [...graph.nodes.values()].filter((node) => node.kind === "host").map((node) => node.name);
      const [source = "", ...others] = hosts;
      const members = others.filter(() => random() < 0.3);
      const querier = [...graph.nodes.values()].find((node) => node.isQuerier)?.name ?? null;
      const numberOf = (name: string): number => index.nodeNumber.get(name) ?? -1;
      const { isReached } = wantedPorts(
        index,
        sourceTree(index, numberOf(source)),
        new Set(members.map(numberOf)),
        new Set(querier === null ? [] : [numberOf(querier)]),
      );
      const reach = byDesignReach(graph, source, members, querier);
      expect(
        index.nodes
          .filter((_, n) => isReached[n])
          .map((n) => n.name)
          .toSorted(),
      ).toEqual([...reach.nodes].toSorted());
    }),
    { numRuns: 200 },
  );
});

test("leaks: given a switch that floods, then it is named and the frames' way is told", () => {
  const faults: SimulatedFault[] = [{ kind: "flooding-node", node: "sw2" }];
  const [finding] = locate(site, simulateRun(site, [tour], faults, seededRandom(1))).findings;
  expect(finding?.suspects[0]).toBe("sw2");
  expect(finding?.evidence.join(" ")).toContain("B3 saw 3000 frames of tour");
});
