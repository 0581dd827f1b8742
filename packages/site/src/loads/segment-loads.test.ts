import { expect, test } from "vitest";
import { loadSitePlan } from "../plan/load-site-plan.ts";
import { type LoadStream, segmentLoads } from "./segment-loads.ts";

const site = loadSitePlan(
  `site: a
nodes:
  core: { kind: switch, querier: true }
  hub: { kind: unmanaged }
  tower: { kind: host }
  a: { kind: host }
  b: { kind: host }
  c: { kind: host }
links:
  - { between: [core:1, hub:1], speed: 100 Mbit/s }
  - core:2 -- tower:e
  - hub:2 -- a:e
  - hub:3 -- b:e
  - core:3 -- c:e
`,
  "a.yaml",
);
const stream = (group: string, listeners: readonly string[]): LoadStream => ({
  source: "tower",
  group,
  listeners,
  rateBps: 8e6,
  payloadBytes: 1316,
});
const loadsOf = (streams: readonly LoadStream[]) =>
  Object.fromEntries(
    segmentLoads(site, streams).map(({ segment, loadBps }) => [segment.id, Number((loadBps / 1e6).toFixed(4))]),
  );

// 8 Mbit/s in 1316-byte payloads are 8.4012 Mbit/s on Ethernet: RFC 2544 appendix B, see tests/conformance/ethernet-load.
test("segmentLoads: given two listeners behind one link, then the link carries the stream once", () => {
  expect(loadsOf([stream("239.195.0.1", ["a", "b"])])).toEqual({
    "core:1>hub:1": 8.4012,
    "tower:e>core:2": 8.4012,
    "hub:2>a:e": 8.4012,
    "hub:3>b:e": 8.4012,
  });
});

test("segmentLoads: given a member behind an unmanaged switch, then its neighbour's cable is loaded too", () => {
  expect(loadsOf([stream("239.195.0.1", ["a"])])["hub:3>b:e"]).toBe(8.4012);
});

test("segmentLoads: given two streams of one group, then whoever joins one is sent both", () => {
  const loads = loadsOf([stream("239.195.0.1", ["a"]), stream("239.195.0.1", ["c"])]);
  expect(loads["core:3>c:e"]).toBe(16.8024);
  expect(loads["core:1>hub:1"]).toBe(16.8024);
});

test("segmentLoads: given a speed, then the share of it, and null where the plan is silent", () => {
  const loads = segmentLoads(
    site,
    new Array(12).fill(0).map((_, index) => stream(`239.195.0.${index + 1}`, ["a"])),
  );
  const ratioOf = (id: string) => loads.find(({ segment }) => segment.id === id)?.utilisationRatio;
  expect(ratioOf("core:1>hub:1")).toBeCloseTo((12 * 8.4012) / 100, 4); // above 1: too much
  expect(ratioOf("hub:2>a:e")).toBeNull();
});

test("segmentLoads: given IPv6, then 20 bytes more per packet", () => {
  // 1402 wire bytes instead of 1382.
  expect(loadsOf([stream("ff15::8000:1", ["c"])])["core:3>c:e"]).toBe(Number(((8 * 1402) / 1316).toFixed(4)));
});
