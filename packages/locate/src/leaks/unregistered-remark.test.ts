import { expect, test } from "vitest";
import { drawInteger, seededRandom } from "../../../../tests/simulation/seeded-random.ts";
import { simulateRun } from "../../../../tests/simulation/simulate-run.ts";
import type { SimulatedStream } from "../../../../tests/simulation/simulated-fault.ts";
import { sketchSite } from "../../../../tests/simulation/sketch-site.ts";
import { locate } from "../locate.ts";
import type { RunObservations, SeqRange } from "../run/run-observations.ts";

// Site drawn up for these tests. That a switch may flood what nobody has joined: RFC 4541, section 2.1.2, rule 3.
const site = sketchSite(["core--tower", "core--sw-a", "sw-a--kiosk", "sw-a--B1", "sw-a--B2", "core--B3"], "core");
const board: SimulatedStream = {
  stream: "board",
  group: "233.252.0.1",
  source: "tower",
  listeners: ["kiosk"],
  bystanders: ["B1", "B2", "B3"],
  packets: 3_000, // one each 10 ms
};

interface Seen {
  readonly ranges: readonly SeqRange[];
  readonly hosts?: readonly string[];
  readonly joinedFromMs?: number;
  readonly joinedToMs?: number | null;
}

/** The kiosk is a member for some time, and these hosts see these numbers. */
function runWith({ ranges, hosts = ["B1", "B3"], joinedFromMs = 5_000, joinedToMs = 20_000 }: Seen): RunObservations {
  const run = simulateRun(site, [board], [], seededRandom(3));
  const window: SeqRange = [Math.max(0, joinedFromMs / 10 + 5), joinedToMs === null ? 2_999 : joinedToMs / 10];
  const frames = ranges.reduce((sum, [first, last]) => sum + last - first + 1, 0);
  const span = { firstMs: (ranges[0]?.[0] ?? 0) * 10, lastMs: (ranges.at(-1)?.[1] ?? 0) * 10 };
  return {
    ...run,
    listeners: run.listeners.map((one) => ({
      ...one,
      joinedFromMs,
      joinedToMs,
      window,
      receivedPackets: window[1] - window[0] + 1,
    })),
    bystanders: run.bystanders.map((one) => (hosts.includes(one.host) ? { ...one, frames, ranges, ...span } : one)),
  };
}

test("unregistered: given frames only before the first join and after the last leave, then one remark with place and times, and no finding", () => {
  const { findings, remarks } = locate(
    site,
    runWith({
      ranges: [
        [0, 505],
        [2_200, 2_999],
      ],
    }),
  );
  expect(findings).toEqual([]);
  expect(remarks).toHaveLength(1);
  expect(remarks[0]).toContain("sw-a");
  expect(remarks[0]).toContain("flooded board from 0.00 s to 30.0 s of the run");
  expect(remarks[0]).toContain("B1 and B3 saw up to 1306 frames");
  expect(remarks[0]).toContain("RFC 4541, section 2.1.2");
});

test("unregistered: given a flood of the first 0.2 s though a host had joined, then the same remark", () => {
  const { findings, remarks } = locate(site, runWith({ ranges: [[0, 20]], joinedFromMs: -1_500, joinedToMs: null }));
  expect(findings).toEqual([]);
  expect(remarks).toEqual([
    expect.stringContaining("flooded board from 0.00 s to 0.20 s of the run, before a join had taken effect there"),
  ]);
});

test("unregistered: given frames while a member exists, at whatever time, then it is a leak and no remark", () => {
  const random = seededRandom(61);
  for (let round = 0; round < 30; round++) {
    const first = drawInteger(random, 720, 1_800);
    const during: SeqRange = [first, first + drawInteger(random, 20, 150)];
    const ranges: SeqRange[] = round % 2 === 0 ? [during] : [[0, 400], during];
    const { findings, remarks } = locate(site, runWith({ ranges }));
    expect(findings.map(({ kind }) => kind).filter((kind) => kind !== "leaks")).toEqual([]);
    expect(findings.length).toBeGreaterThan(0);
    expect(remarks).toEqual([]);
  }
});

test("unregistered: given frames that no list has, then they may have come while a member existed, and it is a leak", () => {
  const run = runWith({ ranges: [[0, 300]] });
  const { findings } = locate(site, {
    ...run,
    bystanders: run.bystanders.map((one) => (one.frames > 0 ? { ...one, frames: 900, lastMs: 29_000 } : one)),
  });
  expect(findings.map(({ kind }) => kind)).toContain("leaks");
});

test("unregistered: given a host that saw the flood after its own leave as others did, then its leave was not slow", () => {
  const after: SeqRange = [2_100, 2_999];
  const run = runWith({ ranges: [after] });
  const own = {
    stream: "board",
    host: "kiosk",
    canSee: true,
    frames: 999,
    ranges: [[2_001, 2_999] as const],
    firstMs: 20_010,
    lastMs: 29_990,
    isGroupUsedByHost: null,
  };
  expect(locate(site, { ...run, bystanders: [...run.bystanders, own] }).findings).toEqual([]);
  const alone = { ...run, bystanders: [...run.bystanders.map((one) => ({ ...one, frames: 0, ranges: [] })), own] };
  expect(locate(site, alone).findings.map(({ kind }) => kind)).toEqual(["slow-leave"]);
});

test("unregistered: given a healthy run, then no remark", () => {
  expect(locate(site, simulateRun(site, [board], [], seededRandom(4))).remarks).toEqual([]);
});

test("unregistered: given a member for less than a join may take, and frames from that join until its leave took effect alone, then it is a leak", () => {
  const random = seededRandom(62);
  for (let round = 0; round < 20; round++) {
    const [joinedFromMs, stayMs] = [drawInteger(random, 3_000, 20_000), drawInteger(random, 500, 1_900)];
    const joinedToMs = joinedFromMs + stayMs;
    const ranges: SeqRange[] = [[Math.ceil(joinedFromMs / 10) + 1, Math.floor((joinedToMs + 2_000) / 10)]];
    const { findings, remarks } = locate(site, runWith({ ranges, joinedFromMs, joinedToMs, hosts: ["B1"] }));
    expect(findings.map(({ kind }) => kind)).toContain("leaks");
    expect(remarks).toEqual([]);
    // The same switch, flooding before the join as well: it does so whatever is joined.
    const always = runWith({ ranges: [[50, ranges[0]?.[1] ?? 0]], joinedFromMs, joinedToMs, hosts: ["B1"] });
    expect(locate(site, always).remarks).toHaveLength(1);
  }
});
