import { loadSitePlan } from "@dyetrace/site";
import type { ReportDelay, ReportReceipt, RunReport } from "@dyetrace/wire";
import { expect, test } from "vitest";
import { compareRuns } from "./compare-runs.ts";
import { runDifferences } from "./run-differences.ts";

const PLAN = `site: Quillfen
nodes:
  core: { kind: switch, querier: true }
  east: { kind: switch }
  west: { kind: switch }
  tower: { kind: host }
  kiosk-1: { kind: host }
  kiosk-2: { kind: host }
  board-1: { kind: host }
  board-2: { kind: host }
links:
  - core:1 -- east:24
  - core:2 -- west:24
  - core:9 -- tower:eth0
  - east:1 -- kiosk-1:eth0
  - east:2 -- kiosk-2:eth0
  - west:1 -- board-1:eth0
  - west:2 -- board-2:eth0
`;
const GRAPH = loadSitePlan(PLAN, "plan.yaml");
const LISTENERS = ["kiosk-1", "kiosk-2", "board-1", "board-2"];
const EAST = ["core:1>east:24", "east"];
const SENT = 60_000;

/** A small generator with a seed (mulberry32, from memory), so that every run of the tests sees the same chance. */
function randomFrom(seed: number): () => number {
  let state = seed;
  return () => {
    state = (state + 0x6d2b79f5) | 0;
    let mixed = Math.imul(state ^ (state >>> 15), 1 | state);
    mixed = (mixed + Math.imul(mixed ^ (mixed >>> 7), 61 | mixed)) ^ mixed;
    return ((mixed ^ (mixed >>> 14)) >>> 0) / 2 ** 32;
  };
}

interface Site {
  /** Loss ratio on the way to the eastern listeners, and length of its bursts. */
  readonly eastLoss: number;
  readonly burst: number;
  readonly eastLeaveMs: number;
}

const HEALTHY: Site = { eastLoss: 0.0002, burst: 1, eastLeaveMs: 2000 };

function delays(random: () => number, middleMs: number): ReportDelay {
  const valuesMs = Array.from({ length: 6 }, () => middleMs + (random() - 0.5) * 40);
  const sorted = valuesMs.toSorted((a, b) => a - b);
  const at = (index: number): number => sorted[index] ?? 0;
  return { trials: 6, minMs: at(0), medianMs: at(3), p95Ms: at(5), maxMs: at(5), resolutionMs: 5, valuesMs };
}

/** A run as a report, drawn from what the site is like. */
function draw(seed: number, site: Site): RunReport {
  const random = randomFrom(seed);
  // What is lost on the way that they share is lost to both.
  const eastGaps: ReportReceipt["gaps"][number][] = [];
  for (let seq = 0; seq < SENT; seq++) {
    if (random() >= site.eastLoss / site.burst) continue;
    eastGaps.push({ firstSeq: seq, count: site.burst, startMs: seq, durationMs: site.burst });
    seq += site.burst;
  }
  const receipts = LISTENERS.map((listener): ReportReceipt => {
    const isEast = listener.startsWith("kiosk");
    const gaps = isEast ? eastGaps : [];
    const lost = gaps.reduce((sum, gap) => sum + gap.count, 0);
    const joinDelays = delays(random, 30);
    const leaveDelays = delays(random, isEast ? site.eastLeaveMs : 2000);
    return {
      stream: "board",
      listener,
      stays: 6,
      sent: SENT,
      received: SENT - lost,
      lost,
      lossRatio: lost / SENT,
      hostLost: 0,
      duplicates: 0,
      reordered: 0,
      gaps,
      longestGapMs: 0,
      jitterMs: 0.02 + random() * 0.02,
      joinDelayMs: joinDelays.medianMs,
      leaveDelayMs: leaveDelays.medianMs,
      joinDelays,
      leaveDelays,
      leavesWithoutEffect: 0,
      hops: 0,
      asUnicastRatio: 0,
      foreign: 0,
    };
  });
  return {
    formatVersion: 1,
    run: seed.toString(16).padStart(16, "0"),
    site: "Quillfen",
    scenario: "join-and-leave",
    startedAt: "2026-01-01T00:00:00.000Z",
    endedAt: "2026-01-01T00:02:00.000Z",
    verdict: "pass",
    reason: "",
    streams: [
      {
        name: "board",
        source: "tower",
        group: "233.252.0.1",
        port: 48_620,
        rateBps: 5e6,
        payloadBytes: 1316,
        ttl: 1,
        dscp: 0,
        sent: SENT,
        sentRateBps: 5e6,
        sendErrors: 0,
        pacingP999Ms: 1,
        pacingMaxMs: 2,
      },
    ],
    receipts,
    bystanders: [],
    queriers: [],
    segments: [],
    findings: [],
    expectations: [],
    coverage: { ambiguousSets: [], nextAgentAt: null },
    notes: [],
  };
}

const pairs = Array.from({ length: 100 }, (_, i) => i);

test("compareRuns: given the same site twice, a hundred times, then something is called worse or better at most five times", () => {
  const outcomes = pairs.map((i) => compareRuns(draw(2 * i + 1, HEALTHY), draw(2 * i + 2, HEALTHY), GRAPH).outcome);
  // The level is 5 % for a whole comparison; at most 9 of 100 is its 95 % limit, and the correction is on the safe side.
  expect(outcomes.filter((outcome) => outcome === "worse" || outcome === "better").length).toBeLessThanOrEqual(5);
  expect(outcomes.filter((outcome) => outcome === "same").length).toBeGreaterThanOrEqual(90);
});

test("compareRuns: given a site that loses in bursts of fifty, then chance is not taken for a change", () => {
  const bursty = { ...HEALTHY, eastLoss: 0.002, burst: 50 };
  const outcomes = pairs.map((i) => compareRuns(draw(2 * i + 1, bursty), draw(2 * i + 2, bursty), GRAPH).outcome);
  expect(outcomes.filter((outcome) => outcome === "worse" || outcome === "better").length).toBeLessThanOrEqual(5);
});

test("compareRuns: given 0.1 % more loss towards the east, then worse each time, and that link is named", () => {
  for (const i of pairs.slice(0, 25)) {
    const worse = compareRuns(draw(2 * i + 1, { ...HEALTHY, eastLoss: 0.0012 }), draw(2 * i + 2, HEALTHY), GRAPH);
    expect(worse.outcome).toBe("worse");
    expect(worse.changes).toMatchObject([{ what: "loss", listeners: ["kiosk-1", "kiosk-2"], places: EAST }]);
  }
});

test("compareRuns: given a leave delay of 5 s instead of 2 s in the east, then worse each time, and that switch is named", () => {
  for (const i of pairs.slice(0, 25)) {
    const worse = compareRuns(draw(2 * i + 1, { ...HEALTHY, eastLeaveMs: 5000 }), draw(2 * i + 2, HEALTHY), GRAPH);
    expect(worse.outcome).toBe("worse");
    expect(worse.changes).toMatchObject([{ what: "leave delay", listeners: ["kiosk-1", "kiosk-2"], places: EAST }]);
  }
});

test("compareRuns: given the change undone, then better, not worse", () => {
  const slow = { ...HEALTHY, eastLeaveMs: 5000 };
  expect(compareRuns(draw(1, HEALTHY), draw(2, slow), GRAPH)).toMatchObject({ outcome: "better" });
});

const LOSSLESS: Site = { ...HEALTHY, eastLoss: 0 };

/** A run in which one listener has lost some packets, of which a receipt lists some gaps. */
function losing(seed: number, listener: string, lost: number, gaps: ReportReceipt["gaps"]): RunReport {
  const run = draw(seed, LOSSLESS);
  const figures = { received: SENT - lost, lost, lossRatio: lost / SENT, gaps };
  return { ...run, receipts: run.receipts.map((one) => (one.listener === listener ? { ...one, ...figures } : one)) };
}

const gap = (firstSeq: number, count: number) => ({ firstSeq, count, startMs: firstSeq, durationMs: count });

test("compareRuns: given a listener that got everything and now gets nothing, then worse, although that is one loss period, and the way to it is named", () => {
  const silent = losing(1, "kiosk-1", SENT, [gap(0, SENT)]);
  const comparison = compareRuns(silent, draw(2, LOSSLESS), GRAPH);
  expect(comparison.outcome).toBe("worse");
  expect(comparison.changes).toEqual([
    {
      what: "loss",
      stream: "board",
      outcome: "worse",
      listeners: ["kiosk-1"],
      places: ["east:1>kiosk-1:eth0", "kiosk-1"],
      confidence: 0.98,
      because: "lost 60\u202f000 of 60\u202f000 packets in one loss period, before none of 60\u202f000 packets",
    },
  ]);
  expect(compareRuns(draw(2, LOSSLESS), silent, GRAPH).outcome).toBe("better");
});

test("compareRuns: given one interruption of two seconds in a minute, then it may be chance: can't tell, and the reason says so", () => {
  const interrupted = losing(1, "kiosk-1", 2000, [gap(30_000, 2000)]);
  const comparison = compareRuns(interrupted, draw(2, LOSSLESS), GRAPH);
  expect(comparison.outcome).toBe("cant-tell");
  expect(comparison.reason).toContain(
    "lost 2000 of 60\u202f000 packets in one loss period, before none of 60\u202f000 packets",
  );
  expect(comparison.reason).toContain("may be chance");
});

test("compareRuns: given more gaps than a receipt lists, then those that are not listed count as well", () => {
  const listed = Array.from({ length: 1000 }, (_, i) => gap(60 * i, 1));
  const comparison = compareRuns(losing(1, "kiosk-1", 4000, listed), losing(2, "kiosk-1", 1200, listed), GRAPH);
  expect(comparison.outcome).toBe("worse");
  expect(comparison.changes).toMatchObject([
    {
      because:
        "lost 4000 of 60\u202f000 packets in 4000 loss periods, before 1200 of 60\u202f000 packets in 1200 loss periods",
    },
  ]);
});

test("compareRuns: given two listeners behind one switch that lose different packets, then each by its own link, and not by the one they share", () => {
  const lossyAt = (listener: string, first: number) => {
    const gaps = Array.from({ length: 120 }, (_, i) => gap(500 * i + first, 1));
    return losing(1, listener, 120, gaps).receipts.filter((one) => one.listener === listener);
  };
  const healthy = draw(2, LOSSLESS);
  const others = healthy.receipts.filter(({ listener }) => !listener.startsWith("kiosk"));
  const after = { ...healthy, receipts: [...lossyAt("kiosk-1", 3), ...lossyAt("kiosk-2", 250), ...others] };
  expect(compareRuns(after, healthy, GRAPH).changes.map(({ listeners, places }) => [listeners, places])).toEqual([
    [["kiosk-1"], ["east:1>kiosk-1:eth0", "kiosk-1"]],
    [["kiosk-2"], ["east:2>kiosk-2:eth0", "kiosk-2"]],
  ]);
});

/** A healthy run of so few packets. */
const short = (seed: number, packets: number): RunReport => {
  const run = draw(seed, LOSSLESS);
  const { streams, receipts } = run;
  return {
    ...run,
    segments: [],
    streams: streams.map((stream) => ({ ...stream, sent: packets })),
    receipts: receipts.map((one) => ({ ...one, sent: packets, received: packets, lost: 0, lossRatio: 0, gaps: [] })),
  };
};

test("compareRuns: given as few packets as the shipped reach sends, then the same, with what it would have seen, and how many would see less", () => {
  const { outcome, reason } = compareRuns(short(1, 1900), short(2, 1900), GRAPH);
  expect(outcome).toBe("same");
  // Zero of n allows z^2/(n + z^2) at most (Wilson, 1927), so 3.84 of 1,904; and 0.05 % takes 7,680.
  expect(reason).toContain(
    "Excluded is a rise of loss of 0.2 percentage points or more at every listener, of join delay of",
  );
  expect(reason).toContain(
    "one of loss of 0.05 percentage points needs about 7680 packets at each in each run, which is 17 s",
  );
});

test("compareRuns: given so few packets that a loss of a hundredth could have been missed, then can't tell", () => {
  expect(compareRuns(short(1, 300), short(2, 300), GRAPH).outcome).toBe("cant-tell");
});

test("compareRuns: given a listener that says nothing in one run, then can't tell, and the reason says why", () => {
  const now = draw(1, HEALTHY);
  const silent = {
    ...now,
    receipts: now.receipts.map((one, i) => (i === 0 ? { ...one, sent: null, lost: null, lossRatio: null } : one)),
  };
  const comparison = compareRuns(silent, draw(2, HEALTHY), GRAPH);
  expect(comparison.outcome).toBe("cant-tell");
  expect(comparison.reason).toContain("the later run does not say how much was lost");
});

test("compareRuns: given a new leak to a bystander and a finding that names the switch, then worse with that switch", () => {
  const bystander = { stream: "board", agent: "board-2", firstMs: null, lastMs: null, ranges: [] };
  const before = { ...draw(1, HEALTHY), bystanders: [{ ...bystander, frames: 0 }] };
  const after = {
    ...draw(2, HEALTHY),
    bystanders: [{ ...bystander, frames: 50_000 }],
    findings: [
      {
        kind: "leaks" as const,
        streams: ["board"],
        suspects: ["west"],
        confidence: 0.9,
        title: "west floods board",
        evidence: [],
        advice: "",
        reference: "",
      },
    ],
  };
  const comparison = compareRuns(after, before, GRAPH);
  expect(comparison.outcome).toBe("worse");
  expect(comparison.changes.map(({ what, places }) => [what, places])).toEqual([
    ["leaks", ["west"]],
    ["frames without joining", ["west"]],
  ]);
});

test("compareRuns: given floods before the first join, longer and shorter, which no finding calls a leak, then the same (RFC 4541, section 2.1.2)", () => {
  const bystander = { stream: "board", agent: "board-2", firstMs: 0, lastMs: null, ranges: [] };
  const [short, long, none] = [100, 3000, 0].map((frames, seed) => ({
    ...draw(seed + 1, HEALTHY),
    bystanders: [{ ...bystander, frames }],
  }));
  if (short === undefined || long === undefined || none === undefined) throw new Error("three were drawn");
  for (const [after, before] of [
    [short, long],
    [long, short],
    [long, none],
  ] as const) {
    const told = compareRuns(after, before, GRAPH).comparisons.find(({ what }) => what === "frames without joining");
    expect(told?.outcome).toBe("same");
  }
});

test("runDifferences: given the same meaning in other words, then none; given another link or another rate, then it is named", () => {
  const scenario = (rate: string): string =>
    `scenario: reach\nstreams:\n  - { name: board, source: tower, group: 239.195.10.4, rate: ${rate} }\ntimeline:\n  - { at: 0s, emit: board }\n  - { at: 5s, stop: board }\n`;
  const request = (plan: string, rate: string) => ({
    site: { file: "p.yaml", text: plan },
    scenario: { file: "s.yaml", text: scenario(rate) },
  });
  const old = request(PLAN, "2 Mbit/s");
  expect(runDifferences(old, request(`# a comment\n${PLAN}`, "2000 kbit/s"))).toEqual([]);
  expect(runDifferences(old, request(PLAN.replace("core:2 -- west:24", "core:3 -- west:24"), "2 Mbit/s"))).toEqual([
    "only the earlier plan has link core:2 -- west:24",
    "only the later plan has link core:3 -- west:24",
  ]);
  expect(runDifferences(old, request(PLAN, "4 Mbit/s"))).toEqual([
    "only the earlier scenario has stream board from tower to 239.195.10.4 port 48620 (2 Mbit/s, 1316 B)",
    "only the later scenario has stream board from tower to 239.195.10.4 port 48620 (4 Mbit/s, 1316 B)",
  ]);
  // Too little to show in rounded words, and a difference all the same.
  expect(runDifferences(old, request(PLAN, "2000001 bit/s"))[1]).toContain("(2000001 bit/s, 1316 B)");
  const later = { ...old, scenario: { file: "s.yaml", text: old.scenario.text.replace("at: 5s", "at: 5001ms") } };
  expect(runDifferences(old, later)).toEqual([
    "only the earlier scenario has at 5 s stop board",
    "only the later scenario has at 5.001 s stop board",
  ]);
});
