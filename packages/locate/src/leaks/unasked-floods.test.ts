import { expect, test } from "vitest";
import { seededRandom } from "../../../../tests/simulation/seeded-random.ts";
import { simulateRun } from "../../../../tests/simulation/simulate-run.ts";
import type { SimulatedStream } from "../../../../tests/simulation/simulated-fault.ts";
import { segmentBetween, sketchSite } from "../../../../tests/simulation/sketch-site.ts";
import type { Finding } from "../finding/finding.ts";
import { locate } from "../locate.ts";
import type { QuerierObservation } from "../run/run-observations.ts";

// Site drawn up for these tests. What a switch does with a group that it has forgotten: RFC 4541, section 2.1.2, rule 3.
const site = sketchSite(
  ["core--sw-a", "sw-a--tower", "sw-a--kiosk", "sw-a--B1", "sw-a--B2", "core--sw-b", "sw-b--hall", "sw-b--B3"],
  "core",
);
const board: SimulatedStream = {
  stream: "board",
  group: "233.252.0.1",
  source: "tower",
  listeners: ["kiosk"],
  bystanders: ["B1", "B2", "B3"],
  packets: 3_000,
};
const AGENTS = ["tower", "kiosk", "hall", "B1", "B2", "B3"];
/** 2 x 5 s and 1 s make 11 s (RFC 3376, section 8.4). */
const timers = { queryIntervalMs: 5_000, queryResponseMs: 1_000, robustness: 2, lastMemberMs: 2_000 };

const watching = (host: string, isAsked: boolean): QuerierObservation => ({
  host,
  canHear: true,
  watchedFromMs: -1_000,
  watchedToMs: 30_000,
  queriers: isAsked
    ? [{ address: "192.0.2.1", family: 4, version: 3, queries: 6, firstMs: 1_000, lastMs: 26_000 }]
    : [],
});

/** B1 and B2 see all that is sent from a number on, of 100 in a second; these hosts hear queries. */
function flooded(asked: readonly string[], fromSeq = 1_100): readonly Finding[] {
  const run = simulateRun(site, [board], [], seededRandom(2));
  const flood = { frames: 3_000 - fromSeq, ranges: [[fromSeq, 2_999]] as const, firstMs: fromSeq * 10, lastMs: 29_990 };
  return locate(site, {
    ...run,
    timers,
    bystanders: run.bystanders.map((one) => (["B1", "B2"].includes(one.host) ? { ...one, ...flood } : one)),
    queriers: AGENTS.map((host) => watching(host, asked.includes(host))),
  }).findings;
}

test("unasked floods: given queries that stop before a switch which then floods, then the way of the queries is named once", () => {
  const [finding, ...rest] = flooded(["hall", "B3"]);
  expect(rest).toEqual([]);
  expect(finding?.kind).toBe("leaks");
  expect(finding?.suspects).toContain(segmentBetween(site, "core", "sw-a"));
  expect(finding?.suspects).not.toContain(segmentBetween(site, "sw-a", "B1"));
  expect(finding?.title).toContain("none came to B1 and B2");
  expect(finding?.advice).not.toContain("static");
});

test("unasked floods: given that nobody hears a query, then the querier is named", () => {
  const findings = flooded([]);
  expect(findings.map(({ kind, suspects }) => [kind, ...suspects])).toEqual([
    ["leaks", "core"],
    ["no-querier", "core"],
  ]);
});

test("unasked floods: given a flood where queries are heard, then the switch is named as before", () => {
  const [finding, ...rest] = flooded(AGENTS);
  expect(rest).toEqual([]);
  expect(finding?.suspects[0]).toBe("sw-a");
  expect(finding?.title).toContain("since memberships timed out");
});

test("unasked floods: given a switch that floods before any membership runs out, and no query behind it, then the way of the queries is named", () => {
  const [finding, ...rest] = flooded(["hall", "B3"], 120);
  expect(rest).toEqual([]);
  expect(finding?.suspects).toContain(segmentBetween(site, "core", "sw-a"));
  expect(finding?.title).toContain("IGMP queries stop");
});

test("unasked floods: given such a flood where others behind the switch hear queries, then the switch is named and no way of queries", () => {
  const [finding, ...rest] = flooded(["tower", "kiosk", "hall", "B3"], 120);
  expect(rest).toEqual([]);
  expect(finding?.suspects[0]).toBe("sw-a");
  expect(finding?.title).not.toContain("IGMP queries stop");
});

test("unasked floods: given a querier that fell silent, and a flood for some seconds once it counts as gone, then the querier is named, and no port", () => {
  const run = simulateRun(site, [board], [], seededRandom(2));
  // 2 x 5 s and half a second after its last query, at -2 s (RFC 3376, section 8.5).
  const last = { address: "192.0.2.1", family: 4 as const, version: 3, queries: 6, firstMs: -27_000, lastMs: -2_000 };
  const of = (firstMs: number, queriers = [last], watchedFromMs = -60_000): readonly Finding[] => {
    const ranges = [[firstMs / 10, firstMs / 10 + 299]] as const;
    const flood = { frames: 300, ranges, firstMs, lastMs: firstMs + 2_990 };
    return locate(site, {
      ...run,
      timers,
      bystanders: run.bystanders.map((one) => (["B1", "B2"].includes(one.host) ? { ...one, ...flood } : one)),
      queriers: AGENTS.map((host) => ({ ...watching(host, false), watchedFromMs, queriers })),
    }).findings;
  };
  expect(of(8_600).map(({ kind, suspects }) => [kind, ...suspects])).toEqual([
    ["leaks", "core"],
    ["no-querier", "core"],
  ]);
  // Agents that have just started never heard it, and nobody asked to the end.
  expect(of(3_000, [], -500).map(({ kind, suspects }) => [kind, ...suspects])).toEqual([
    ["leaks", "core"],
    ["no-querier", "core"],
  ]);
  // Before that a switch knows of a querier, and the flood is its own.
  expect(of(3_000)[0]?.suspects[0]).toBe("sw-a");
});
