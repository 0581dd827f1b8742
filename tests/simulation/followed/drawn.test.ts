import { readFileSync } from "node:fs";
import { headOf, runScene } from "@dyetrace/picture";
import { loadSitePlan } from "@dyetrace/site";
import { loadScenario, type RunReport, wifiWords } from "@dyetrace/wire";
import { describe, expect, test } from "vitest";
import { answerRun } from "../../../controller/src/console/run-forecast.ts";
import { airCautions } from "../../../controller/src/plan/air-cautions.ts";
import { FOLLOWING_AHEAD } from "../../../controller/src/plan/cautions.ts";
import { adviseGroups, checkPlan } from "../../../controller/src/plan/check-plan.ts";
import { refuseUnconfirmedLoad, unknownShares } from "../../../controller/src/plan/confirm-load.ts";
import { outlineRun } from "../../../controller/src/plan/outline-run.ts";
import { overloadOf } from "../../../controller/src/plan/overload.ts";
import { planAirtime } from "../../../controller/src/plan/plan-airtime.ts";
import { renderStreams } from "../../../controller/src/report/html-receipts.ts";
import { renderAirtime } from "../../../controller/src/report/terminal-airtime.ts";
import { renderPlanCheck } from "../../../controller/src/report/terminal-plan.ts";
import { renderReport } from "../../../controller/src/report/terminal-report.ts";
import { seededRandom } from "../seeded-random.ts";
import { drawMedia } from "./draw-media.ts";
import { type ComesTo, followMedia } from "./follow-media.ts";
import { conclude, followedSite, followRun, lossOn } from "./follow-scene.ts";

const SECONDS = 6;
const PACKETS_PER_SECOND = 150;
const DEMO = readFileSync(new URL("../../../packages/practice/demo/quillfen.yaml", import.meta.url), "utf8");
const SITE = {
  file: "plan.yaml",
  text: DEMO.replace("nodes:\n", "nodes:\n  encoder: { kind: host, agent: none }\n").replace(
    "links:\n",
    "links:\n  - core:11 -- encoder:eth0\n",
  ),
};
const graph = followedSite(DEMO);
const run = followRun(graph, SECONDS);
const media = drawMedia("MPEG-TS over UDP", {
  seconds: SECONDS + 4,
  packetsPerSecond: PACKETS_PER_SECOND,
  random: seededRandom(3),
}).map(({ bytes, atNs }) => ({ bytes, atNs: atNs - 2e9 }));
const follow = (comesTo: ComesTo): RunReport =>
  conclude(run, followMedia(run, media, comesTo, { sender: "10.4.0.9" }), graph);
const plain = (text: string): string => text;
const terminal = (report: RunReport): string => renderReport(report, graph, plain);
const html = (report: RunReport): string => String(renderStreams(report));

describe("a stream that comes from a node without an agent", () => {
  const report = follow(lossOn(graph, "encoder", new Map([["hall-hub:2>till-1:eth0", 0.05]]), seededRandom(7)));

  test("given it was followed, then map and terminal hang the site up where it comes from, with its water", () => {
    const drawn = runScene(graph, report, null);
    expect(drawn?.tree.root.node.name).toBe("encoder");
    expect(drawn?.scene.channels.get("board-1")?.water).toBe("flows");
    expect(drawn?.scene.hosts.get("till-1")?.kind).toBe("thins");
    expect(drawn?.marks.map(({ node }) => node)).toContain("till-1");
    expect(terminal(report)).toMatch(/^ {2}encoder\n {2}└─ core/m);
  });

  test("given it was followed, then its share of the air is that of the packets that were seen", () => {
    const air = report.wifi?.deliveries.find(({ agent }) => agent === "tablet");
    // By hand, as in report-wifi.test.ts: at 6 Mbit/s 3 bytes a symbol of 4 us after 20 us, 101.5 us before each frame; 82 bytes of
    // headers and the 22 bits of the frame's ends.
    const meanUs =
      media.reduce((sum, { bytes }) => sum + 20 + 4 * Math.ceil((8 * (bytes.length + 82) + 22) / 24) + 101.5, 0) /
      media.length;
    const perSecond = media.length / (SECONDS + 4);
    expect((air?.asMulticast.shareRatio ?? 0) / ((perSecond * meanUs) / 1e6)).toBeCloseTo(1, 1);
  });
});

test("given a stream of which nobody saw a packet, then no rate and no share of the air is told, as nobody knows it", () => {
  const report = follow(() => "lost");
  expect(terminal(report)).toContain("239.196.4.7 port 5004, rate unknown, packets sent: unknown");
  expect(html(report)).not.toMatch(/Mbit\/s|1,?316 B/);
  expect(wifiWords(report.wifi).join(" ")).not.toContain("%");
  expect(runScene(graph, report, null)?.rateBps).toBeNull();
});

test("given a run that only follows, then before it no load, no air and no TTL is told, and nothing is to be confirmed", () => {
  const { scenario } = run;
  const slow = loadSitePlan(
    `site: Quillfen
nodes:
  core: { kind: router, querier: true }
  encoder: { kind: host, agent: none }
  hall-ap: { kind: access-point }
  tablet: { kind: host }
links:
  - { between: [core:1, encoder:eth0], speed: 1 Mbit/s }
  - { between: [core:2, hall-ap:lan], speed: 1 Mbit/s }
  - hall-ap:r1 -- tablet:wlan0
`,
    "plan.yaml",
  );
  expect(checkPlan(slow, scenario)).toMatchObject({ loads: [], air: [], overload: null });
  expect([overloadOf(slow, scenario), unknownShares(slow, scenario), airCautions(slow, scenario)]).toEqual([
    null,
    0,
    [],
  ]);
  expect(() => refuseUnconfirmedLoad(slow, scenario, undefined)).not.toThrow();
  expect(adviseGroups(slow, scenario).map(({ code }) => code)).not.toContain("ttl-too-small");
  expect(outlineRun(run, { file: "plan.yaml", text: "" }).streams).toMatchObject([{ production: true }]);
});

test.each([
  ["the agent's name", "tower", "tower"],
  ["a node without an agent", "encoder", "encoder"],
  ["an address of the plan", "10.4.0.9", "encoder"],
  ["the same in another way of writing", "2001:DB8:0::9", "encoder"],
  ["an address that the plan does not have", "192.0.2.1", null],
])("headOf: given %s, then the map hangs there, or nowhere", (_what, source, head) => {
  expect(headOf(graph, source)).toBe(head);
});

test("given a followed stream without its sender, then nothing is told of what the run tests, nor of its air", () => {
  const { scenario } = loadScenario(
    "scenario: f\nstreams: [ { name: a, production: true, group: 239.195.10.4, port: 5004 } ]\ntimeline: [ { at: 0s, join: a, agents: all }, { at: 2s, leave: a, agents: all } ]\n",
    "f.yaml",
  );
  const check = checkPlan(graph, scenario);
  expect([check.sources, check.unplaced]).toEqual([[], ["a"]]);
  const said = renderPlanCheck(check, graph, plain);
  expect(said).toContain("The plan does not have the sender of a: which places it tests is known once it is seen.");
  expect(said).not.toMatch(/Not tested by anyone|Nobody would|One more agent|unknown sender/);
  const air = planAirtime(graph, scenario);
  expect(air.map(({ streams }) => streams)).toEqual([[]]);
  expect(renderAirtime(graph.name, air, [], plain)).toContain("The scenario sends nothing.");
});

test.each([
  ["any", "Every agent joins a"],
  ["encoder", "Every agent joins a"],
  ["tower", "Every agent but tower joins a"],
])(
  "forecast: given a followed stream from %s, then whoever joins it is said as it will be, and no caution of sending",
  (from, first) => {
    const text = `scenario: f\nstreams: [ { name: a, production: true, from: ${from}, group: 239.195.10.4, port: 5004 } ]\ntimeline: [ { at: 0s, join: a, agents: all }, { at: 2s, leave: a, agents: all } ]\n`;
    const answer = answerRun({ scenario: { file: "f.yaml", text }, site: SITE }, new Set(), true);
    if (answer.kind !== "run") throw new Error(JSON.stringify(answer));
    expect(answer.forecast.steps[0]?.sentence).toBe(first);
    expect(answer.forecast).toMatchObject({ loads: [], confirmation: null });
    expect(answer.forecast.thoughts).toEqual([FOLLOWING_AHEAD]);
  },
);
