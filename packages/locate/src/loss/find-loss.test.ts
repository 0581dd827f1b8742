import { countRanges, intersectRanges, mergeSequenceRanges, subtractRanges } from "@dyetrace/measure";
import { expect, test } from "vitest";
import { drawLosses } from "../../../../tests/simulation/draw-losses.ts";
import { seededRandom } from "../../../../tests/simulation/seeded-random.ts";
import { simulateRun } from "../../../../tests/simulation/simulate-run.ts";
import type { SimulatedFault, SimulatedStream } from "../../../../tests/simulation/simulated-fault.ts";
import { segmentBetween, sketchSite } from "../../../../tests/simulation/sketch-site.ts";
import { locate } from "../locate.ts";
import type { RunObservations } from "../run/run-observations.ts";

// Sites and losses drawn up for these tests; the truth is what the simulation put in.
const site = sketchSite(
  [
    "S1--core",
    "core--sw-a",
    "core--sw-b",
    "sw-a--L1",
    "sw-a--L2",
    "sw-b--L3",
    "sw-b--rt1",
    "rt1--sw-c",
    "sw-c--L4",
    "sw-c--L5",
  ],
  "core",
);
const film: SimulatedStream = {
  stream: "film",
  group: "233.252.0.7",
  source: "S1",
  listeners: ["L1", "L2", "L3", "L4", "L5"],
  packets: 20_000,
  packetsPerSecond: 400,
};

const run = (faults: readonly SimulatedFault[], streams: readonly SimulatedStream[] = [film]): RunObservations =>
  simulateRun(site, streams, faults, seededRandom(7));

test("locate: given 2 per cent loss on the way to a switch, then that segment loses, with the truth in its interval", () => {
  const segment = segmentBetween(site, "core", "sw-a");
  const { findings, segments } = locate(site, run([{ kind: "loss", segment, ratio: 0.02 }]));
  expect(findings.map((finding) => [finding.kind, finding.suspects[0]])).toEqual([["loses", segment]]);
  const state = segments.find((s) => s.id === segment);
  expect(state?.status).toBe("loses");
  expect(state?.low ?? 1).toBeLessThan(0.02);
  expect(state?.high ?? 0).toBeGreaterThan(0.02);
  expect(segments.find((s) => s.id === segmentBetween(site, "sw-a", "L1"))?.status).toBe("ok");
});

test("locate: given loss on one link of a chain without a branch, then both links are suspects and neither has a rate of its own", () => {
  const lossy = segmentBetween(site, "rt1", "sw-c");
  const upper = segmentBetween(site, "sw-b", "rt1");
  const { findings, segments } = locate(site, run([{ kind: "loss", segment: lossy, ratio: 0.03 }]));
  expect(findings).toHaveLength(1);
  expect(findings[0]?.suspects.slice(0, 2)).toEqual([upper, lossy]);
  expect(findings[0]?.evidence.join(" ")).toContain("no listener's figures tell them apart");
  const state = segments.find((s) => s.id === lossy);
  expect(state?.lossRatio).toBeNull();
  expect(state?.high ?? 0).toBeGreaterThan(0.03);
});

test("locate: given a second source that splits the chain, then the clean half is no suspect any more", () => {
  const split = sketchSite(
    ["S1--core", "core--rt1", "rt1--sw-c", "rt1--S2", "sw-c--L4", "sw-c--L5", "core--L3"],
    "core",
  );
  const lossy = segmentBetween(split, "core", "rt1");
  const streams: SimulatedStream[] = [
    { ...film, listeners: ["L3", "L4", "L5"] },
    { ...film, stream: "second", group: "233.252.0.8", source: "S2", listeners: ["L3", "L4", "L5"] },
  ];
  const { findings } = locate(
    split,
    simulateRun(split, streams, [{ kind: "loss", segment: lossy, ratio: 0.03 }], seededRandom(3)),
  );
  expect(findings).toHaveLength(1);
  expect(findings[0]?.suspects).toContain(lossy);
  expect(findings[0]?.suspects).not.toContain(segmentBetween(split, "rt1", "sw-c"));
});

test("locate: given losses below two branches at once, then both last links are named and not the switch above", () => {
  const segments = [segmentBetween(site, "sw-a", "L1"), segmentBetween(site, "sw-a", "L2")];
  const faults = segments.map((segment) => ({ kind: "loss" as const, segment, ratio: 0.02 }));
  const { findings } = locate(site, run(faults));
  expect(findings.map((finding) => finding.suspects[0]).toSorted()).toEqual(segments.toSorted());
});

test("locate: given background loss of 0.001 per cent on every segment, then nobody is blamed", () => {
  const faults = [...site.segments.keys()].map((segment) => ({ kind: "loss" as const, segment, ratio: 0.00001 }));
  expect(locate(site, run(faults)).findings).toEqual([]);
});

test("locate: given packets that a host dropped itself, then the host is named and its segment stays clean", () => {
  const segment = segmentBetween(site, "sw-a", "L1");
  const observed = run([{ kind: "loss", segment, ratio: 0.01 }]);
  const listeners = observed.listeners.map((l) =>
    l.host === "L1" ? { ...l, hostLostPackets: 20_000 - l.receivedPackets } : l,
  );
  const { findings, segments } = locate(site, { ...observed, listeners });
  expect(findings.map((finding) => [finding.kind, ...finding.suspects])).toEqual([["host-side-loss", "L1"]]);
  expect(segments.find((s) => s.id === segment)?.lossRatio).toBe(0);
});

test("locate: given hosts that drop packets at the same moments and count them, then nothing is lost above them", () => {
  const quiet = run([]);
  for (const weak of [["L1", "L2"], ["L4", "L5"], film.listeners]) {
    const random = seededRandom(14);
    const moments = drawLosses(20_000, 0.04, 20, random);
    const listeners = quiet.listeners.map((l) => {
      if (!weak.includes(l.host)) return { ...l, hostLostPackets: 0 };
      const lost = mergeSequenceRanges(intersectRanges(moments, drawLosses(20_000, 0.7, 4, random)));
      return { ...l, lost, receivedPackets: 20_000 - countRanges(lost), hostLostPackets: countRanges(lost) };
    });
    const { findings } = locate(site, { ...quiet, listeners });
    expect(findings.map(({ kind, suspects }) => [kind, ...suspects])).toEqual(
      weak.map((host) => ["host-side-loss", host]),
    );
  }
});

test("locate: given hosts that drop packets at the same moments and cannot count them, then they are suspects beside what is above them, and it is less sure", () => {
  const quiet = run([]);
  const random = seededRandom(14);
  const moments = drawLosses(20_000, 0.04, 20, random);
  const dropping = (hostLostPackets: number | null): RunObservations => ({
    ...quiet,
    listeners: quiet.listeners.map((l) => {
      if (!["L1", "L2"].includes(l.host)) return l;
      const lost = mergeSequenceRanges(intersectRanges(moments, drawLosses(20_000, 0.7, 4, random)));
      return { ...l, lost, receivedPackets: 20_000 - countRanges(lost), hostLostPackets };
    }),
  });
  const trunk = segmentBetween(site, "core", "sw-a");
  const shared = locate(site, dropping(null)).findings.find(({ suspects }) => suspects[0] === trunk);
  expect(shared?.confidence).toBe(0.8);
  expect(shared?.suspects).toEqual(expect.arrayContaining(["L1", "L2"]));
  expect(shared?.evidence.join(" ")).toContain("cannot count their own drops");
  // Who counts and dropped nothing shows that the same losses came from above.
  const counted = locate(site, dropping(0)).findings.find(({ suspects }) => suspects[0] === trunk);
  expect(counted?.confidence).toBe(0.85); // L1 and L2 alone show it
  expect(counted?.suspects).not.toContain("L1");
});

test("locate: given hosts that count drops, each its own, below a segment that loses less than they do, then the segment is still named", () => {
  const segment = segmentBetween(site, "core", "sw-a");
  const observed = run([{ kind: "loss", segment, ratio: 0.015 }]);
  const random = seededRandom(15);
  const listeners = observed.listeners.map((l) => {
    if (!["L1", "L2"].includes(l.host)) return { ...l, hostLostPackets: 0 };
    const drops = subtractRanges(drawLosses(20_000, 0.03, 1, random), l.lost);
    const lost = mergeSequenceRanges([...l.lost, ...drops]);
    return { ...l, lost, receivedPackets: 20_000 - countRanges(lost), hostLostPackets: countRanges(drops) };
  });
  const { findings } = locate(site, { ...observed, listeners });
  const loses = findings.filter(({ kind }) => kind === "loses");
  expect(loses.map(({ suspects }) => suspects[0])).toEqual([segment]);
});

test("locate: given counted drops below a segment that loses more than they are, then the segment still loses", () => {
  const segment = segmentBetween(site, "core", "sw-a");
  const observed = run([{ kind: "loss", segment, ratio: 0.03 }]);
  // 0.5 per cent of 20,000; each host may have dropped these very packets.
  const listeners = observed.listeners.map((l) => (["L1", "L2"].includes(l.host) ? { ...l, hostLostPackets: 100 } : l));
  const { findings } = locate(site, { ...observed, listeners });
  const loses = findings.filter(({ kind }) => kind === "loses");
  expect(loses.map(({ suspects }) => suspects[0])).toEqual([segment]);
});

test("locate: given a stop in mid-run beside a loss, then the loss is estimated up to the stop", () => {
  const stop = segmentBetween(site, "sw-b", "rt1");
  const loss = segmentBetween(site, "core", "sw-a");
  const { findings } = locate(
    site,
    run([
      { kind: "dead-segment", segment: stop, fromMs: 40_000 },
      { kind: "loss", segment: loss, ratio: 0.02 },
    ]),
  );
  expect(findings.map((finding) => [finding.kind, finding.suspects[0]])).toEqual([
    ["stops", stop],
    ["loses", loss],
  ]);
});

test("locate: given a stream whose rate rises in steps over a link that clips it, then rate-limited says where and at what rate", () => {
  const segment = segmentBetween(site, "core", "sw-a");
  const rates = [1e6, 2e6, 3e6, 4e6];
  const perStep = 4_000;
  const random = seededRandom(11);
  const base = run([]);
  const steps = rates.map((rateBps, i) => ({
    firstSeq: i * perStep,
    lastSeq: (i + 1) * perStep - 1,
    startMs: i * 10_000,
    endMs: (i + 1) * 10_000,
    payloadBytes: 1316,
    rateBps,
  }));
  // A policer at 2.4 Mbit/s lets 2.4/3 and 2.4/4 of the upper two steps through.
  const lost: [number, number][] = [];
  for (let seq = 2 * perStep; seq < 4 * perStep; seq++) {
    if (random() < 1 - 2.4e6 / (rates[Math.floor(seq / perStep)] ?? 1)) lost.push([seq, seq]);
  }
  const observed: RunObservations = {
    ...base,
    streams: base.streams.map((s) => ({ ...s, steps, sentPackets: 4 * perStep })),
    listeners: base.listeners.map((l) => {
      const missed = ["L1", "L2"].includes(l.host) ? lost : [];
      return {
        ...l,
        window: [0, 4 * perStep - 1] as const,
        lost: missed,
        receivedPackets: 4 * perStep - missed.length,
      };
    }),
  };
  const { findings } = locate(site, observed);
  expect(findings.map((finding) => [finding.kind, finding.suspects[0]])).toEqual([["rate-limited", segment]]);
  expect(findings[0]?.title).toMatch(/about 2\.\d+ Mbit\/s .*clean at 2 Mbit\/s, losing at 3 Mbit\/s/);
});
