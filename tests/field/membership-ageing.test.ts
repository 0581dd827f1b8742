import { type RunProgress, type RunStory, RunStorySchema } from "@dyetrace/wire";
import { Value } from "typebox/value";
import { afterAll, beforeAll, expect, test } from "vitest";
import { watchGroupTable } from "./support/group-table-watch.ts";
import { MEMBERSHIP_PLAN } from "./support/membership-plan.ts";
import { inBothFamilies, type PracticeBench, raiseBench, shippedScenario } from "./support/practice-bench.ts";
import { accusations, figureIn, findingOf, receiptOf, tell, UNBROKEN } from "./support/report-look-up.ts";

/** RFC 3376 section 8.4, RFC 3810 section 9.4: robustness 2 x 5 s + 2 s. */
const MEMBERSHIP_S = 12;

let bench: PracticeBench;
beforeAll(async () => {
  bench = await raiseBench(MEMBERSHIP_PLAN, {
    timers: {
      queryIntervalMs: 5_000,
      queryResponseIntervalMs: 2_000,
      membershipIntervalMs: MEMBERSHIP_S * 1000,
      otherQuerierIntervalMs: 11_000,
    },
  });
});
afterAll(() => bench[Symbol.asyncDispose]());

test("ageing: given queries that do not reach one listener, then it ages out when its membership runs out, and no neighbour does", async () => {
  const told: RunProgress[] = [];
  await using table = await watchGroupTable(bench.site, "pier");
  const report = await bench.run(inBothFamilies(shippedScenario("ageing")), {
    parameters: { source: "tower", members: "[kiosk, stand, till-a]", hold: "membership-interval + 4s" },
    faults: ['drop-queries, on: "pier:1>kiosk:eth0"'],
    onProgress: (progress) => told.push(progress),
  });
  const finding = findingOf(report, "ages-out");
  expect(finding.streams.toSorted()).toEqual(["board-4", "board-6"]);
  expect(finding.suspects).toContain("pier:1>kiosk:eth0");
  expect(finding.suspects.filter((suspect) => !["pier:1>kiosk:eth0", "kiosk"].includes(suspect))).toEqual([]);
  const afterS = figureIn(finding.title, "s (?:and more )?after the last report"); // the two families may differ;
  expect(afterS).toBeGreaterThan(MEMBERSHIP_S - 0.1);
  expect(afterS).toBeLessThan(MEMBERSHIP_S + 1);
  expect(finding.evidence.join(" ")).toMatch(/kiosk heard no (IGMP|MLD)( or (IGMP|MLD))? query/);
  for (const stream of ["board-4", "board-6"]) {
    expect(receiptOf(report, stream, "kiosk").lost).toBeGreaterThan(50);
    for (const neighbour of ["stand", "till-a"]) expect(receiptOf(report, stream, neighbour)).toMatchObject(UNBROKEN);
  }
  const story = (await bench.client.get(`/api/runs/${report.run}/story`)) as RunStory;
  expect(Value.Errors(RunStorySchema, story)).toEqual([]);
  for (const group of ["239.195.10.4", "ff15::8000:4"]) {
    const ends = (one: string): RunStory["timers"] =>
      story.timers.filter(({ lane, group: of, end }) => lane === one && of === group && end === "ran-out");
    const [end, ...more] = ends("kiosk");
    expect(more).toEqual([]);
    expect(end).toMatchObject({ kind: "membership", valueMs: MEMBERSHIP_S * 1000, source: "queries" });
    for (const neighbour of ["stand", "till-a"]) expect(ends(neighbour)).toEqual([]);
    expect(story.remarks).toContainEqual(expect.objectContaining({ kind: "ran-out", lane: "kiosk", group }));
    // The kernel's own word: what its table said was left, reading by reading, is what the story has worked out.
    const row = story.tables.find((one) => one.node === "pier" && one.towards === "kiosk" && one.group === group);
    expect(row?.readings.length).toBeGreaterThan(10);
    const bars = story.timers.filter(({ lane, group: of }) => lane === "kiosk" && of === group);
    const apart = (row?.readings ?? []).map(([atMs, leftMs]) =>
      Math.min(...bars.map(({ fromMs, valueMs }) => Math.abs(atMs + (leftMs ?? 0) - fromMs - valueMs))),
    );
    // A program reads the table and another stamps the reading: on a busy machine a few of them stand at a later time.
    const near = apart.filter((ms) => ms < 300);
    expect(near.length / apart.length, `${group}: ${apart.map(Math.round).join(" ")} ms`).toBeGreaterThan(0.8);
    const [atMs, leftMs] = row?.readings.at(-1) ?? [0, 0];
    expect(Math.abs(atMs + (leftMs ?? 0) - (end?.toMs ?? 0))).toBeLessThan(300);
    // It acts on a timer of this length up to 256 ms late (timer wheel, level 2 at 250 Hz: kernel/time/timer.c).
    const [deletedMs] = table.times("deleted", group, "p1");
    const lateMs = (deletedMs ?? 0) - (end?.toMs ?? 0) - Date.parse(report.startedAt);
    expect(lateMs, tell(report)).toBeGreaterThan(-300);
    expect(lateMs, tell(report)).toBeLessThan(300 + 256);
  }
  // The hold came from the querier's own figures, and was counted down.
  expect(told).toContainEqual({ kind: "step", text: expect.stringContaining("a membership lasts 12.0 s") });
  const seconds = told.filter((progress) => progress.kind === "second");
  expect(seconds.map(({ next }) => next?.what)).toContain("board-4 stops");
});

// RFC 3376, section 7.2.1; RFC 3810, section 8.2.1. The last of the file: hosts keep to the older version for minutes.
test("older version: given a querier of IGMPv2 and MLDv1 and joins from one source, then they are said to be widened", async () => {
  const report = await bench.run(
    `
scenario: widened
streams:
  - { name: dome-4, source: tower, group: 232.0.61.1, rate: 1 Mbit/s, ssm: true }
  - { name: dome-6, source: tower, group: "ff35::61:1", rate: 1 Mbit/s, ssm: true }
timeline:
  - { at: 0s, join: all, agents: [kiosk, office] }
  - { at: 500ms, emit: all }
  - { at: 7s, stop: all }
`,
    { faults: ["igmp-version, on: spine, igmp: 2, mld: 1"], isUsedAgain: false },
  );
  const found = accusations(report).map(({ kind, streams, suspects }) => [kind, streams, suspects]);
  expect(found.toSorted(), tell(report)).toEqual([
    ["older-version", ["dome-4"], ["spine"]],
    ["older-version", ["dome-6"], ["spine"]],
  ]);
});
