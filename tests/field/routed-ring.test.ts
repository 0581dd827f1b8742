import { readFileSync } from "node:fs";
import { afterAll, beforeAll, expect, test } from "vitest";
import { type PracticeBench, raiseBench } from "./support/practice-bench.ts";

const RING = readFileSync(new URL("support/ring.yaml", import.meta.url), "utf8");
/** @param addresses by router, as its entry has them: `, addresses: [...]` */
const planWith = (costOfRc: number, addresses: Readonly<Record<string, string>> = {}): string =>
  Object.entries(addresses)
    .reduce((plan, [router, has]) => plan.replace(`${router}: { kind: router`, `${router}: { kind: router${has}`), RING)
    .replace("cost: 1 ", `cost: ${costOfRc} `);
const PLAN = planWith(1);
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

/** The routers' own addresses would say that router C answers for nobody, so that only what routes cost can bring it in. */
const NOT_BY_C = planWith(9, {
  ra: ", addresses: [10.128.1.8, 10.128.2.8]",
  rb: ", addresses: [10.128.2.7, 10.128.3.7]",
  rc: ", addresses: [10.128.1.6, 10.128.3.6]",
  ra2: ", addresses: [10.128.1.9, 10.128.2.9]",
});

test("routed ring: given packets that come by a router that the plan's costs leave out, then no pass stands, and it is said for whom", async () => {
  const report = await bench.run(ALL, { plan: NOT_BY_C });
  expect(report.receipts.map(({ lost }) => lost)).toEqual(report.receipts.map(() => 0));
  expect(report.verdict).toBe("inconclusive");
  expect(report.findings.map(({ kind, streams, suspects }) => [kind, streams, suspects])).toEqual([
    ["plan-mismatch", ["a-4"], []],
    ["plan-mismatch", ["c-4"], []],
  ]);
  const [fromA, fromC] = report.findings.map(({ title }) => title);
  expect(fromA).toContain("What a1 sends comes to c1 and c2 another way than the plan's");
  expect(fromC).toContain("What c1 sends comes to a1 and a2 another way than the plan's");
});

/** By these the designated router of VLANs 1 and 3 is router C, so that no other one need bring packets there. */
const C_ANSWERS = planWith(1, {
  ra: ", addresses: [10.128.1.8, 10.128.2.8]",
  rb: ", addresses: [10.128.2.7, 10.128.3.7]",
  rc: ", addresses: [10.128.1.9, 10.128.3.9]",
  ra2: ", addresses: [10.128.1.7, 10.128.2.9]",
});

test("routed ring: given one of several routers whose route to one source leads the wrong way, then it alone is blamed, no surer than the way", async () => {
  const report = await bench.run(ALL, { plan: C_ANSWERS, faults: ["reverse-path, on: rc, source: c1"] });
  expect(report.findings.map(({ streams }) => streams)).toEqual([["c-4"]]);
  const [{ suspects, confidence, evidence } = { suspects: [], confidence: 1, evidence: [] }] = report.findings;
  expect(suspects).toContain("rc");
  expect(suspects.filter((suspect) => /\bra|\brb/.test(suspect))).toEqual([]);
  expect(confidence).toBeLessThan(0.9);
  expect(evidence.join(" ")).toContain("No packet tells by which routers c1 reaches a1");
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
