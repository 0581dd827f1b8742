import { readFileSync } from "node:fs";
import type { ReportSegment, RunReport } from "@dyetrace/wire";
import { afterAll, beforeAll, expect, test } from "vitest";
import { inTurn } from "./support/in-turn.ts";
import { type BenchRun, type PracticeBench, raiseBench, shippedScenario } from "./support/practice-bench.ts";
import { accusations, findingOf, receiptOf, tell, UNBROKEN } from "./support/report-look-up.ts";

/**
 * What thins out, clips or sorts out, against what the kernel was told to drop: nftables' `numgen inc` drops every n-th
 * packet, so that the share is exact and no interval can miss it by chance; `tbf` is tc's token bucket.
 */
const PLAN = readFileSync(new URL("../../packages/practice/demo/quillfen.yaml", import.meta.url), "utf8");

let bench: PracticeBench;
beforeAll(async () => {
  bench = await raiseBench(PLAN);
});
afterAll(() => bench[Symbol.asyncDispose]());

/** In turn: thousands of packets a second at nine listeners, all at real-time priority, leave little for sites that start. */
const runAtRate = (scenario: string, options: BenchRun): Promise<RunReport> =>
  inTurn(() => bench.run(scenario, options));

/** 2,000 packets/s for 10 s: 100 losses at 0.5 %, whose binomial interval of 99 % is 0.13 % to either side. */
const STEADY = `
scenario: steady
streams:
  - { name: board, source: tower, group: 239.195.41.1, rate: 4 Mbit/s, payload: 250 B }
timeline:
  - { at: 0s, join: board }
  - { at: 500ms, emit: board }
  - { at: 10500ms, stop: board }
expect: { loss: 0.01 % }
`;

function segmentOf(report: RunReport, id: string): ReportSegment {
  const segment = report.segments.find((one) => one.id === id);
  if (segment === undefined) throw new Error(`No segment ${id} in ${tell(report)}`);
  return segment;
}

/** Every other segment that carries the stream: none of its loss, and no share of it excluded wrongly. */
function expectOthersSound(report: RunReport, lossy: readonly string[]): void {
  const others = report.segments.filter(({ id, low }) => low !== null && !lossy.includes(id));
  expect(others.length).toBeGreaterThan(8);
  for (const { id, low } of others) expect(low, id).toBe(0);
}

test("losses: given 0.5 % lost on one link, then it is named, its interval holds 0.5 %, and all others hold 0", async () => {
  const lossy = "core:1>pier-east:24";
  const report = await runAtRate(STEADY, { faults: [`drop, on: "${lossy}", every: 200`] });
  const finding = findingOf(report, "loses");
  expect(finding.suspects[0]).toBe(lossy);
  expect(finding.suspects.filter((suspect) => ![lossy, "pier-east"].includes(suspect))).toEqual([]);
  expect(accusations(report)).toEqual([finding]);
  const { low, high, status } = segmentOf(report, lossy);
  expect(status).toBe("loses");
  expect(low).toBeLessThanOrEqual(0.005);
  expect(high).toBeGreaterThanOrEqual(0.005);
  expect(high).toBeLessThan(0.01);
  expectOthersSound(report, [lossy]);
});

test("losses: given 0.5 % on one link and 2 % on another at once, then both are named, each with its own share", async () => {
  const [slight, heavy] = ["core:1>pier-east:24", "core:3>hall:24"];
  const faults = [`drop, on: "${slight}", every: 200`, `drop, on: "${heavy}", every: 50`];
  const report = await runAtRate(STEADY, { faults });
  const named = accusations(report).map(({ kind, suspects }) => `${kind} ${suspects[0]}`);
  expect(named.toSorted()).toEqual([`loses ${slight}`, `loses ${heavy}`].toSorted());
  for (const [id, share] of [
    [slight, 0.005],
    [heavy, 0.02],
  ] as const) {
    const { low, high } = segmentOf(report, id);
    expect(low, id).toBeLessThanOrEqual(share);
    expect(high, id).toBeGreaterThanOrEqual(share);
  }
  expectOthersSound(report, [slight, heavy]);
});

test("rate-steps: given a token bucket on one link, then it is named, with the rate at which it clips within 10 %", async () => {
  const limited = "core:3>hall:24";
  const report = await runAtRate(shippedScenario("rate-steps"), {
    parameters: {
      source: "tower",
      step: "3s",
      "rate-1": "500 kbit/s",
      "rate-2": "1 Mbit/s",
      "rate-3": "2 Mbit/s",
      "rate-4": "4 Mbit/s",
      "rate-5": "5 Mbit/s",
      "rate-6": "6 Mbit/s",
      "rate-7": "7 Mbit/s",
      "rate-8": "8 Mbit/s",
    },
    faults: [`rate-limit, on: "${limited}", rate: 3 Mbit/s`],
  });
  const finding = findingOf(report, "rate-limited");
  expect(finding.suspects[0]).toBe(limited);
  // tbf counts the frame: 14 B Ethernet, 20 B IPv4 and 8 B UDP (RFC 791, RFC 768) beside 1316 B of payload.
  const clipsAtBps = (3e6 * 1316) / (1316 + 14 + 20 + 8);
  const told = /about ([0-9.]+) Mbit\/s/.exec(finding.title);
  expect(Number(told?.[1]) * 1e6, finding.title).toBeGreaterThan(0.9 * clipsAtBps);
  expect(Number(told?.[1]) * 1e6, finding.title).toBeLessThan(1.1 * clipsAtBps);
  expect(receiptOf(report, "board", "kiosk-1")).toMatchObject(UNBROKEN);
});

test("size-steps: given packets over 1,000 B dropped on one link, then it is size-limited there, between the sizes that passed and did not", async () => {
  const limited = "core:2>pier-west:24";
  const report = await bench.run(shippedScenario("size-steps"), {
    parameters: { source: "tower", step: "2s", "size-2": "512 B", "size-3": "900 B", "size-4": "1000 B" },
    faults: [`drop, on: "${limited}", larger-than: 1000 B`],
  });
  const finding = findingOf(report, "size-limited");
  expect(finding.suspects).toEqual([limited, "pier-west"]); // lost reports would stop every size
  expect(`${finding.title} ${finding.evidence.join(" ")}`).toMatch(
    /over 900 bytes.*packets of 1000 bytes and more do not/s,
  );
  expect(accusations(report)).toEqual([finding]);
  expect(receiptOf(report, "board", "kiosk-1")).toMatchObject(UNBROKEN);
});

test("reach: given one group of two dropped on a link, then the stop is told as that group's alone", async () => {
  const link = "core:1>pier-east:24";
  const two = `
scenario: two-groups
streams:
  - { name: board, source: tower, group: 239.195.41.7, rate: 1 Mbit/s }
  - { name: paging, source: tower, group: 239.195.41.8, rate: 1 Mbit/s }
timeline:
  - { at: 0s, join: all }
  - { at: 500ms, emit: all }
  - { at: 3500ms, stop: all }
expect: { loss: 0.01 % }
`;
  const report = await bench.run(two, { faults: [`drop, on: "${link}", group: 239.195.41.8, share: 100 %`] });
  const [finding, ...others] = accusations(report);
  expect(others).toEqual([]);
  expect(finding?.streams).toEqual(["paging"]);
  expect(finding?.suspects).toContain(link);
  expect(`${finding?.kind} ${finding?.title} ${finding?.evidence.join(" ")}`).toMatch(/group/);
  for (const listener of ["kiosk-1", "kiosk-2"]) {
    expect(receiptOf(report, "board", listener)).toMatchObject(UNBROKEN);
    expect(receiptOf(report, "paging", listener)).toMatchObject({ received: 0 });
  }
});

test("host loss: given a listener whose process stands still for 2 s, then what its buffer dropped is its own loss, and the run is inconclusive", async () => {
  const kiosk = bench.practice.agents.get("kiosk-1");
  const timers: NodeJS.Timeout[] = [];
  const report = await bench
    .run(
      `
scenario: stopped-listener
streams:
  - { name: board, source: tower, group: 239.195.41.9, rate: 40 Mbit/s } # its buffer holds about a second of it
timeline:
  - { at: 0s, join: board, agents: [kiosk-1, kiosk-2] }
  - { at: 500ms, emit: board }
  - { at: 6s, stop: board }
expect: { loss: 0.01 % }
`,
      {
        onProgress: (progress) => {
          if (progress.kind !== "go") return;
          timers.push(setTimeout(() => kiosk?.signal("SIGSTOP"), progress.startsInMs + 2_000));
          timers.push(setTimeout(() => kiosk?.signal("SIGCONT"), progress.startsInMs + 4_000));
        },
      },
    )
    .finally(() => {
      for (const timer of timers) clearTimeout(timer);
      kiosk?.signal("SIGCONT");
    });
  const stopped = receiptOf(report, "board", "kiosk-1");
  expect(stopped.hostLost).toBeGreaterThan(0);
  expect(stopped.lost).toBe(0);
  expect(findingOf(report, "host-side-loss").suspects).toEqual(["kiosk-1"]);
  expect(accusations(report)).toEqual([]);
  expect(report.verdict).toBe("inconclusive");
});
