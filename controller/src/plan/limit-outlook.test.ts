import { readFileSync } from "node:fs";
import { loadSitePlan } from "@dyetrace/site";
import { loadScenario, type Scenario } from "@dyetrace/wire";
import { expect, test } from "vitest";
import { undecidableLimits } from "./limit-outlook.ts";
import { shippedScenarios } from "./shipped-scenarios.ts";

const PLAN = readFileSync(new URL("../../../packages/practice/demo/quillfen.yaml", import.meta.url), "utf8");
const GRAPH = loadSitePlan(PLAN, "quillfen.yaml");

const scenario = (timeline: string, expected: string): Scenario =>
  loadScenario(
    `
scenario: sample
streams: [ { name: board, source: tower, group: 233.252.0.1, rate: 1 Mbit/s, payload: 1250 B } ]
timeline: [ ${timeline} ]
expect: { ${expected} }
`,
    "sample.yaml",
  ).scenario;

// 1 Mbit/s in packets of 1250 B are 100 packets/s.
const PLAIN = "{ at: 0s, join: board }, { at: 1s, emit: board }, { at: 11s, stop: board }";

test("undecidableLimits: given 1000 packets for 0.01 %, then it says how many decide it, and how much longer that takes", () => {
  const [outlook, ...others] = undecidableLimits(scenario(PLAIN, "loss: 0.01 %"), GRAPH);
  expect(others).toEqual([]);
  // ln 0.05 / ln 0.9999 = 29,955.8
  expect(outlook).toMatchObject({ what: "loss", packets: 1000, neededPackets: 29_956, moreSeconds: 290, others: 8 });
  expect(outlook?.sentence).toContain("29\u202f956 packets decide it, 4.83 min more at 100 packets/s");
});

test("undecidableLimits: given packets enough, a limit of 0, or no limit, then nothing is said", () => {
  for (const expected of ["loss: 0.3 %", "loss: 0 %, duplicates: 0 %", "longest-gap: 50 ms"]) {
    expect(undecidableLimits(scenario(PLAIN, expected), GRAPH)).toEqual([]);
  }
});

test("undecidableLimits: given stays, a change of rate and a warm-up, then only what is sent in them counts", () => {
  const timeline =
    "{ at: 0s, join: board, agents: [kiosk-1] }, { at: 1s, emit: board }, { at: 4s, leave: board, agents: [kiosk-1] }, " +
    "{ at: 5s, join: board, agents: [kiosk-1] }, { at: 6s, set: board, rate: 2 Mbit/s }, { at: 8s, stop: board }";
  const packets = (expected: string): number | undefined =>
    undecidableLimits(scenario(timeline, expected), GRAPH)[0]?.packets;
  expect(packets("loss: 0.01 %")).toBe(300 + 100 + 400);
  expect(packets("loss: 0.01 %, warm-up: 1s")).toBe(200 + 400);
});

test("undecidableLimits: given a stream that flows already, then nothing is said before it was seen", () => {
  const { scenario: followed } = loadScenario(
    `scenario: follow
streams: [ { name: stream, production: true, from: any, group: 239.196.4.7, port: 5004, format: rtp } ]
timeline:
  - { at: 0s, join: stream, agents: all }
  - { after: 10s, leave: stream, agents: all }
expect: { loss: 0.01 % }
`,
    "follow.yaml",
    { parameters: {} },
  );
  expect(undecidableLimits(followed, GRAPH)).toEqual([]);
});

test("shipped scenarios: given the demo site and the values that are set, then each sends enough for what it expects", () => {
  const agents = { source: "tower", members: "[kiosk-1, till-1]", stays: "till-1", leaves: "till-2" };
  for (const { text, name, parameters } of shippedScenarios()) {
    const set = Object.fromEntries(
      Object.entries(agents).filter(([key]) => parameters.some((one) => one.name === key)),
    );
    const loaded = loadScenario(text.text, text.file, { parameters: set }).scenario;
    expect([name, undecidableLimits(loaded, GRAPH).map(({ sentence }) => sentence)]).toEqual([name, []]);
  }
});
