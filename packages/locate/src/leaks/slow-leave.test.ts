import { expect, test } from "vitest";
import { seededRandom } from "../../../../tests/simulation/seeded-random.ts";
import { simulateRun } from "../../../../tests/simulation/simulate-run.ts";
import { segmentBetween, sketchSite } from "../../../../tests/simulation/sketch-site.ts";
import type { Finding } from "../finding/finding.ts";
import { locate } from "../locate.ts";
import type { QuerierObservation, RunObservations } from "../run/run-observations.ts";

/**
 * A leave has to come to the querier, which asks on the same way back (RFC 3376, section 6.4.2). `tablet` sits behind the
 * access point of `core`, which is the querier; `hall` and `gate` behind a switch of their own.
 */
const site = sketchSite(
  ["tower--core", "core--ap-roof", "ap-roof--tablet", "core--sw-east", "sw-east--hall", "sw-east--gate"],
  "core",
);
const link = (from: string, to: string): string => segmentBetween(site, from, to);
const GROUP = "233.252.0.1";
const TIMERS = { queryIntervalMs: 4_000, queryResponseMs: 1_000, robustness: 2, lastMemberMs: 2_000 };
const LEFT_MS = 10_000;

interface World {
  readonly leaver: string;
  /** When frames ended there. */
  readonly seenToMs: number;
  /** Of another leaver; absent: nobody else left. */
  readonly other?: string;
  readonly isSaid?: boolean;
  readonly askedMs?: readonly number[];
  readonly canHear?: boolean;
}

function runOf({ leaver, seenToMs, other, isSaid = true, askedMs = [], canHear = true }: World): RunObservations {
  const listeners = ["tablet", "hall", "gate"];
  const run = simulateRun(
    site,
    [{ stream: "board", group: GROUP, source: "tower", listeners, packets: 3_000 }],
    [],
    seededRandom(4),
  );
  const left = [leaver, ...(other === undefined ? [] : [other])];
  const steady = { address: "192.0.2.1", family: 4 as const, version: 3, queries: 8, firstMs: 1_000, lastMs: 29_000 };
  return {
    ...run,
    timers: TIMERS,
    listeners: run.listeners
      .filter(({ host }) => left.includes(host) || host === "gate")
      .map((one) =>
        left.includes(one.host)
          ? { ...one, joinedToMs: LEFT_MS, window: [0, 999] as const, receivedPackets: 1_000, lost: [] }
          : one,
      ),
    bystanders: [
      {
        stream: "board",
        host: leaver,
        canSee: true,
        frames: (seenToMs - LEFT_MS) / 10,
        ranges: [[1_000, seenToMs / 10 - 1]],
        firstMs: LEFT_MS,
        lastMs: seenToMs,
        isGroupUsedByHost: null,
      },
    ],
    queriers: listeners.map((host): QuerierObservation => {
      return { host, canHear, watchedFromMs: -30_000, watchedToMs: 30_000, queriers: [steady] };
    }),
    membership: isSaid ? left.map((host) => ({ kind: "leave", host, group: GROUP, atMs: LEFT_MS + 1 })) : [],
    ...(canHear ? { groupQueries: askedMs.map((atMs) => ({ host: leaver, group: GROUP, atMs })) } : {}),
  };
}
const slowLeave = (world: World): Finding => {
  const { findings } = locate(site, runOf(world));
  expect(findings.map(({ kind }) => kind)).toEqual(["slow-leave"]);
  return findings[0] as Finding;
};

test("slow leave: given that no query followed it, then the way to the querier is suspect, and not the port alone", () => {
  const finding = slowLeave({ leaver: "tablet", seenToMs: 16_400 });
  expect(finding.suspects).toEqual([
    link("tablet", "ap-roof"),
    link("ap-roof", "tablet"),
    "ap-roof",
    link("ap-roof", "core"),
    link("core", "ap-roof"),
    "core",
  ]);
  expect(finding.title).toContain("for 6.4 s after the leave: nobody asked there for further members");
});

test("slow leave: given another leave that took effect in time, then what it passed is no suspect", () => {
  const finding = slowLeave({ leaver: "tablet", seenToMs: 16_400, other: "hall" });
  expect(finding.suspects).toContain("ap-roof");
  for (const passed of ["core", "sw-east"]) expect(finding.suspects).not.toContain(passed);
});

test("slow leave: given a query about the group after it, then the leave was heard, and the port stayed open", () => {
  const finding = slowLeave({ leaver: "tablet", seenToMs: 16_400, askedMs: [10_010, 11_010] });
  expect(finding.suspects).toEqual([link("core", "ap-roof"), "core"]);
  expect(finding.evidence.join(" ")).toContain("so the leave was heard");
  // One from before the leave is another's.
  expect(slowLeave({ leaver: "tablet", seenToMs: 16_400, askedMs: [4_000] }).suspects).toContain("ap-roof");
});

test("slow leave: given a host that sent no leave, then no port is accused", () => {
  const finding = slowLeave({ leaver: "tablet", seenToMs: 16_400, isSaid: false });
  expect(finding.suspects).toEqual(["tablet"]);
  expect(finding.title).toContain("after it had left without a word");
});

test("slow leave: given that nobody could listen for queries, then the finding is in doubt, and the way is among the suspects", () => {
  const finding = slowLeave({ leaver: "tablet", seenToMs: 16_400, canHear: false });
  expect(finding.suspects).toEqual(
    expect.arrayContaining([link("core", "ap-roof"), "ap-roof", link("ap-roof", "core")]),
  );
  expect(finding.confidence).toBeLessThanOrEqual(0.8);
});
