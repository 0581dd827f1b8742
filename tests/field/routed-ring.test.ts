import { afterAll, beforeAll, expect, test } from "vitest";
import { type PracticeBench, raiseBench } from "./support/practice-bench.ts";

/**
 * A ring of three VLANs with a router between each two, and a second router of equal cost between the first two: packets
 * could come round, or twice.
 */
const PLAN = `site: Ring of three
vlans: { 1: {}, 2: {}, 3: {} }
nodes:
  core: { kind: switch, querier: true }
  ra: { kind: router }
  rb: { kind: router }
  rc: { kind: router }
  ra2: { kind: router }
  a1: { kind: host }
  a2: { kind: host }
  b1: { kind: host }
  b2: { kind: host }
  c1: { kind: host }
  c2: { kind: host }
links:
  - { between: [core:1, a1:eth0], vlan: 1 }
  - { between: [core:2, a2:eth0], vlan: 1 }
  - { between: [core:3, b1:eth0], vlan: 2 }
  - { between: [core:4, b2:eth0], vlan: 2 }
  - { between: [core:5, c1:eth0], vlan: 3 }
  - { between: [core:6, c2:eth0], vlan: 3 }
  - { between: [core:11, ra:lan], vlan: [1, 2] }
  - { between: [core:12, rb:lan], vlan: [2, 3] }
  - { between: [core:13, rc:lan], vlan: [1, 3] }
  - { between: [core:14, ra2:lan], vlan: [1, 2] }
`;
const STREAMS = `streams:
  - { name: a-4, source: a1, group: 239.195.20.1, rate: 400 kbit/s, ttl: 8 }
  - { name: b-6, source: b1, group: "ff15::8000:1", rate: 400 kbit/s, ttl: 8 }
  - { name: c-4, source: c1, group: 239.195.20.2, rate: 400 kbit/s, ttl: 8 }
`;
const ALL = `scenario: ring
${STREAMS}timeline:
  - { at: 0s, join: all, agents: all }
  - { at: 1s, emit: all }
  - { at: 4s, stop: all }
expect: { loss: 0 %, duplicates: 0 % }
`;

let bench: PracticeBench;
beforeAll(async () => {
  bench = await raiseBench(PLAN);
});
afterAll(() => bench?.[Symbol.asyncDispose]());

test("routed ring: given equal routers and a ring, then every packet comes once, over one router at most", async () => {
  const report = await bench.run(ALL);
  expect(report.findings).toEqual([]);
  expect(report.verdict).toBe("pass");
  for (const { stream, listener, hops, duplicates } of report.receipts) {
    expect([stream, listener, hops, duplicates]).toEqual([stream, listener, stream[0] === listener[0] ? 0 : 1, 0]);
  }
});

test("routed ring: given one of the equal routers down, then both are suspects, since the plan does not say which is used", async () => {
  const report = await bench.run(ALL, { faults: ["drop, on: ra"] });
  expect(report.findings.map(({ kind }) => kind)).toEqual(["stops"]);
  const [finding] = report.findings;
  expect(finding?.suspects).toEqual(expect.arrayContaining(["ra", "core:11>ra:lan", "ra2", "core:14>ra2:lan"]));
  expect(finding?.suspects.some((suspect) => /\brb|\brc/.test(suspect))).toBe(false);
  expect(finding?.confidence).toBeLessThan(0.9);
});

test("routed ring: given the only members leave, then no router keeps the stream alive for another", async () => {
  const report = await bench.run(`scenario: leaving
streams: [{ name: a-4, source: a1, group: 239.195.20.9, rate: 400 kbit/s, ttl: 8 }]
timeline:
  - { at: 0s, emit: a-4 }
  - { at: 1s, join: a-4, agents: [b1, c1] }
  - { at: 3s, leave: a-4, agents: [b1, c1] }
  - { at: 8s, stop: a-4 }
expect: { leave-delay: 4 s, leaks: none }
`);
  expect(report.findings).toEqual([]);
  expect(report.verdict).toBe("pass");
  expect(report.receipts.map(({ listener, hops }) => [listener, hops])).toEqual([
    ["b1", 1],
    ["c1", 1],
  ]);
});
