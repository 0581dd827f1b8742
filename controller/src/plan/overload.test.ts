import { loadSitePlan } from "@dyetrace/site";
import { loadScenario } from "@dyetrace/wire";
import { expect, test } from "vitest";
import { overloadOf, refuseOverload } from "./overload.ts";

const graph = loadSitePlan(
  `site: Quillfen
nodes: { core: { kind: switch, querier: true }, tower: { kind: host }, kiosk: { kind: host } }
links:
  - core:1 -- tower:eth0
  - { between: [core:2, kiosk:eth0], speed: 10 Mbit/s }
`,
  "p.yaml",
);
/** Two streams of the same rate, one after the other or both at once. */
const scenario = (rate: string, secondAtS: number) =>
  loadScenario(
    `scenario: s
streams:
  - { name: board, source: tower, group: 239.195.10.4, rate: ${rate}, payload: 1250 B }
  - { name: sign, source: tower, group: 239.195.10.5, rate: ${rate}, payload: 1250 B }
timeline:
  - { at: 0s, join: board, agents: [kiosk] }
  - { at: 0s, join: sign, agents: [kiosk] }
  - { at: 1s, emit: board }
  - { at: 4s, stop: board }
  - { at: ${secondAtS}s, emit: sign }
  - { at: 9s, stop: sign }
`.replace(/(.* stop: board.*\n)(.* emit: sign.*\n)/, secondAtS < 4 ? "$2$1" : "$1$2"),
    "s.yaml",
  ).scenario;

test("refuseOverload: given streams that bring 113 % onto a link, then the run is refused with the arithmetic", () => {
  // By hand: 1250 B are 1316 B on the wire (RFC 2544 appendix B for preamble and gap), so 10.7 Mbit/s become 11.26.
  expect(() => refuseOverload(graph, scenario("10.7 Mbit/s", 5))).toThrow(
    "1 s into the run its streams bring 11.3 Mbit/s onto core:2>kiosk:eth0, headers, preamble and gap included, and the link carries 10 Mbit/s: 113 % of it",
  );
});

test("overloadOf: given two streams that fit one after the other, then only both at once are too much", () => {
  expect(overloadOf(graph, scenario("6 Mbit/s", 5))).toBeNull();
  const over = overloadOf(graph, scenario("6 Mbit/s", 2));
  expect([over?.segment.id, over?.atNs]).toEqual(["core:2>kiosk:eth0", 2e9]);
  expect(over?.utilisationRatio).toBeCloseTo((2 * 0.6 * 1316) / 1250, 6);
});

test("overloadOf: given a link without a speed, then nothing is said of it", () => {
  const unknown = loadSitePlan(
    `site: Quillfen
nodes: { core: { kind: switch, querier: true }, tower: { kind: host }, kiosk: { kind: host } }
links: ["core:1 -- tower:eth0", "core:2 -- kiosk:eth0"]
`,
    "p.yaml",
  );
  expect(overloadOf(unknown, scenario("900 Mbit/s", 5))).toBeNull();
});
