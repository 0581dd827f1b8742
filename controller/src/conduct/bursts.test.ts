import { loadSitePlan } from "@dyetrace/site";
import { loadScenario } from "@dyetrace/wire";
import { expect, test } from "vitest";
import { compileScenario } from "../plan/compile-scenario.ts";
import { compileBursts } from "./bursts.ts";

const plan = (kind: string): string => `site: Quillfen
nodes: { core: { kind: ${kind} }, tower: { kind: host }, kiosk: { kind: host } }
links: [ "core:1 -- tower:eth0", "core:2 -- kiosk:eth0" ]
`;
const SCENARIO = `scenario: reach
streams: [ { name: board, source: tower, group: 239.195.10.4, rate: 1 Mbit/s, payload: 1200 B } ]
timeline:
  - { at: 0s, join: board }
  - { at: 1s, emit: board }
  - { at: 9s, stop: board }
`;

function bursts(packets: number, kind = "switch") {
  const graph = loadSitePlan(plan(kind), "plan.yaml");
  const run = compileScenario("aa", loadScenario(SCENARIO, "reach.yaml").scenario, graph, new Map());
  return compileBursts(run, "bb", graph, new Map(), { streams: ["board"], packets });
}

test("given a number that fits, then the burst is of that many packets in 2 s, to whom the run sent, and of no more bits per second", () => {
  const burst = bursts(1_000);
  if (typeof burst === "string") throw new Error(burst);
  const [stream] = burst.streams;
  const perS = (stream?.rateBps ?? 0) / 8 / (stream?.payloadBytes ?? 1);
  expect(perS * 2).toBeCloseTo(1_000, 6);
  expect(stream?.rateBps).toBeLessThanOrEqual(1e6);
  expect(stream?.payloadBytes).toBe(250); // 1 Mbit/s are 250 B each 2 ms
  expect(burst.partOf).toBe("aa");
  expect(burst.joins.map(({ agent }) => agent)).toEqual(["kiosk"]);
});

test.each([
  [3_000, "switch", /more than board's own 1 Mbit\/s/],
  [9_000, "switch", /2000 packets per second at most/],
  [1_000, "access-point", /200 packets per second at most on a site with access points/],
])(
  "given %d packets on a site with a node of kind %s, then there is no burst, and the sentence says what it would take",
  (packets, kind, words) => {
    expect(bursts(packets, kind)).toMatch(words);
  },
);
