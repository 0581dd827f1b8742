import type { RunReport } from "@dyetrace/wire";
import { afterAll, beforeAll, describe, expect, test } from "vitest";
import { watchGroupTable } from "./support/group-table-watch.ts";
import { MEMBERSHIP_PLAN } from "./support/membership-plan.ts";
import { inBothFamilies, type PracticeBench, raiseBench, shippedScenario } from "./support/practice-bench.ts";
import { accusations, findingOf, receiptOf, UNBROKEN } from "./support/report-look-up.ts";

let bench: PracticeBench;
beforeAll(async () => {
  bench = await raiseBench(MEMBERSHIP_PLAN);
});
afterAll(() => bench[Symbol.asyncDispose]());

describe("shared-port: two listeners on one unmanaged switch behind one port", () => {
  const parameters = {
    source: "tower",
    stays: "till-a",
    leaves: "till-b",
    rate: "1 Mbit/s",
    "first-leave": "6s",
    times: "1",
    "after-leave": "5s",
  };

  test("given switches that ask before they close a port, then the one that stays loses nothing", async () => {
    const report = await bench.run(inBothFamilies(shippedScenario("shared-port")), { parameters });
    expect(accusations(report)).toEqual([]);
    for (const stream of ["board-4", "board-6"]) expect(receiptOf(report, stream, "till-a")).toMatchObject(UNBROKEN);
  });

  test("given that the reports of the one that stays are lost, then it is cut, and the leave that did it is named", async () => {
    const report = await bench.run(inBothFamilies(shippedScenario("shared-port")), {
      parameters,
      faults: ['drop-reports, on: "hub:1>pier:3", host: till-a, at: 3s'],
    });
    expectCut(report, ["board-4", "board-6"], 200);
  });

  test("given fast leave under IGMPv2, then it is cut at once, and the leave that did it is named", async () => {
    const report = await bench.run(shippedScenario("shared-port"), {
      parameters: { ...parameters, "first-leave": "5s", every: "3s", times: "4", "after-leave": "2s" },
      faults: [
        ...["core", "pier", "spine"].map((on) => `igmp-version, on: ${on}, igmp: 2`),
        // Few queries: an IGMPv2 host says that it leaves only if it was the last to report (RFC 2236, section 3). The
        // querier's question about the group brings the other one back within a second, so the cut is short.
        "querier-timers, on: spine, query-interval: 16s",
        'fast-leave, on: "pier:3"',
      ],
    });
    expectCut(report, ["board"], 10);
  });

  function expectCut(report: RunReport, streams: readonly string[], leastLost: number): void {
    const finding = findingOf(report, "leave-cuts-neighbour");
    expect(finding.streams.toSorted()).toEqual(streams);
    expect(finding.title).toContain("till-b");
    expect(finding.suspects.slice(0, 2)).toEqual(["pier:3>hub:1", "pier"]);
    for (const above of ["core", "core:1>pier:24"]) expect(finding.suspects).not.toContain(above);
    expect(report.verdict).toBe("fail");
    for (const stream of streams) expect(receiptOf(report, stream, "till-a").lost).toBeGreaterThanOrEqual(leastLost);
  }
});

const EARLY_MS = 100;
const LATE_MS = 800;

test("join-and-leave: given repeated joins and leaves, then their delays are those of the kernel's group table and of RFC 3376", async () => {
  const intervalMs = (1316 * 8) / 500; // 500 kbit/s
  await using table = await watchGroupTable(bench.site, "pier");
  const report = await bench.run(inBothFamilies(shippedScenario("join-and-leave")), {
    parameters: {
      source: "tower",
      members: "[kiosk]",
      rate: "500 kbit/s",
      times: "3",
      every: "6s",
      "first-leave": "4500ms",
    },
  });
  expect(accusations(report)).toEqual([]);
  const startMs = Date.parse(report.startedAt);
  for (const [stream, group] of [
    ["board-4", "239.195.10.4"],
    ["board-6", "ff15::8000:4"],
  ] as const) {
    const receipt = receiptOf(report, stream, "kiosk");
    expect(receipt).toMatchObject({ stays: 3, leavesWithoutEffect: 0, ...UNBROKEN });
    expect(receipt.joinDelays?.trials).toBe(3);
    expect(receipt.joinDelays?.maxMs).toBeLessThan(100);
    // Last member query interval 1 s, twice: RFC 3376 8.8 to 8.10, RFC 3810 9.8 and 9.9. The rest is scheduling.
    expect(receipt.leaveDelays?.trials).toBe(3);
    expect(receipt.leaveDelays?.minMs).toBeGreaterThan(2000 - intervalMs - 10);
    expect(receipt.leaveDelays?.maxMs).toBeLessThan(2000 + intervalMs + 250);
    const [added, deleted] = [table.times("added", group), table.times("deleted", group)];
    expect([added.length, deleted.length]).toEqual([3, 3]);
    for (const [turn, delayMs] of (receipt.leaveDelays?.valuesMs ?? []).entries()) {
      const joinMs = startMs + 2000 + turn * 6000;
      const leaveMs = startMs + 4500 + turn * 6000;
      // Stamps of the run's start and of the monitor; an agent and a monitor may be late on a busy machine, never early.
      expect((added[turn] ?? 0) - joinMs).toBeGreaterThan(-EARLY_MS);
      expect((added[turn] ?? 0) - joinMs).toBeLessThan(LATE_MS);
      expect((deleted[turn] ?? 0) - leaveMs - delayMs).toBeGreaterThan(-EARLY_MS - intervalMs);
      expect((deleted[turn] ?? 0) - leaveMs - delayMs).toBeLessThan(LATE_MS);
    }
  }
});
