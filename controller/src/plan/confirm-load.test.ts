import { loadSitePlan } from "@dyetrace/site";
import { loadScenario } from "@dyetrace/wire";
import { expect, test } from "vitest";
import { confirmationOf, heavyLoads, refuseUnconfirmedLoad, unknownShares } from "./confirm-load.ts";

const graph = loadSitePlan(
  `site: Quillfen
nodes: { core: { kind: switch, querier: true }, tower: { kind: host }, kiosk: { kind: host }, stand: { kind: host } }
links:
  - { between: [core:1, tower:eth0], speed: 100 Mbit/s }
  - { between: [core:2, kiosk:eth0], speed: 10 Mbit/s }
  - core:3 -- stand:eth0
`,
  "p.yaml",
);
const scenario = (rate: string, change = "") =>
  loadScenario(
    `scenario: s
streams: [ { name: board, source: tower, group: 239.195.10.4, rate: ${rate}, payload: 1250 B } ]
timeline:
  - { at: 0s, join: board, agents: [kiosk, stand] }
  - { at: 1s, emit: board }
${change}  - { at: 9s, stop: board }
`,
    "s.yaml",
  ).scenario;

test("heavyLoads: given 3 Mbit/s in packets of 1250 B onto 10 Mbit/s, then that one link is above the share, with preamble, gap and headers", () => {
  // By hand: 1250 + 8 UDP + 20 IP + 18 Ethernet + 20 preamble and gap = 1316 B on the wire (RFC 2544 appendix B).
  const [first, ...more] = heavyLoads(graph, scenario("3 Mbit/s"));
  expect(more).toEqual([]);
  expect(first?.segment).toBe("core:2>kiosk:eth0");
  expect(first?.loadBps).toBeCloseTo((3e6 * 1316) / 1250, 3);
  expect(heavyLoads(graph, scenario("2.8 Mbit/s"))).toEqual([]);
  expect(unknownShares(graph, scenario("2.8 Mbit/s"))).toBe(1);
});

test("heavyLoads: given a rate that is raised in the course of the run, then the highest counts", () => {
  const raised = scenario(
    "1 Mbit/s",
    "  - { at: 2s, set: board, rate: 6 Mbit/s }\n  - { at: 3s, set: board, rate: 1 Mbit/s }\n",
  );
  expect(heavyLoads(graph, raised)[0]?.utilisationRatio).toBeCloseTo(0.632, 3);
});

test("refuseUnconfirmedLoad: given a load above the share, then only the very words start it", () => {
  const heavy = scenario("6 Mbit/s");
  const [first] = heavyLoads(graph, heavy);
  const words = first === undefined ? "" : confirmationOf(first);
  expect(words).toBe("load core:2>kiosk:eth0 to 64 %");
  for (const said of [undefined, "", "yes", "load core:2>kiosk:eth0 to 63 %"]) {
    expect(() => refuseUnconfirmedLoad(graph, heavy, said)).toThrow(
      "brings 6.32 Mbit/s onto core:2>kiosk:eth0, 64 % of its 10 Mbit/s",
    );
  }
  refuseUnconfirmedLoad(graph, heavy, `  ${words} `);
  refuseUnconfirmedLoad(graph, scenario("2.8 Mbit/s"), undefined);
});
