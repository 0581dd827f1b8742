import { loadSitePlan } from "@dyetrace/site";
import { loadScenario, type RunReport, wifiWords } from "@dyetrace/wire";
import type { WifiSight } from "@dyetrace/wire/station/wifi-sight-schema";
import { expect, test } from "vitest";
import { simulateEvidence } from "../../../tests/simulation/simulate-evidence.ts";
import { accountOfRun } from "../account/run-account.ts";
import { compareDeliveries } from "../compare/compare-deliveries.ts";
import { compileScenario } from "../plan/compile-scenario.ts";
import { buildReport } from "./build-report.ts";
import { reportWifi } from "./report-wifi.ts";

const HALL = "02:00:5e:10:00:01";
const LOFT = "02:00:5e:10:00:02";
const graph = loadSitePlan(
  `
site: Quillfen
nodes:
  core: { kind: switch, querier: true }
  hall-ap: { kind: access-point, bssid: ${HALL}, radio: { multicast-rate: 6 Mbit/s, standard: n, mcs: 7 } }
  loft-ap: { kind: access-point, bssid: ${LOFT} }
  tower: { kind: host }
  tablet: { kind: host }
  phone: { kind: host }
  kiosk: { kind: host }
links: [ "core:1 -- tower:eth0", "core:2 -- hall-ap:lan", "core:3 -- loft-ap:lan", "core:4 -- kiosk:eth0",
  "hall-ap:r1 -- tablet:wlan0", "hall-ap:r2 -- phone:wlan0" ]
`,
  "plan.yaml",
);
const { scenario } = loadScenario(
  `
scenario: reach
streams: [ { name: board, source: tower, group: 239.195.10.4, rate: 200 kbit/s, payload: 1316 B } ]
timeline: [ { at: 0s, join: board, agents: [tablet, phone, kiosk] }, { at: 1s, emit: board }, { at: 6s, stop: board } ]
`,
  "scenario.yaml",
);
const run = compileScenario("00000000000000aa", scenario, graph, new Map());
const sight = (second: number, bssid: string | null, signalDbm = -50): WifiSight => ({
  atNs: second * 1e9,
  bssid,
  frequencyMhz: 5180,
  widthMhz: 80,
  signalDbm,
  txRateBps: 390e6,
  rxRateBps: null,
  txRetries: 12,
  txFailed: 0,
});

/** The run as agents tell it, with what one says of its place on the air. */
function accountWith(agent: string, sights: readonly WifiSight[], isLost = (_who: string) => false) {
  const evidence = simulateEvidence(run, (_stream, who) => isLost(who));
  const told = evidence.agents.get(agent);
  if (told === undefined) throw new Error(`${agent} told nothing`);
  const reports = told.reports.map((report, index) => (index === 0 ? { ...report, wifi: [...sights] } : report));
  return accountOfRun(run, { ...evidence, agents: new Map(evidence.agents).set(agent, { ...told, reports }) });
}

const withRatios = (report: RunReport, ratios: Readonly<Record<string, number | null>>) =>
  report.receipts.map((one) => ({ ...one, asUnicastRatio: ratios[one.listener] ?? null }));

test("report: given stations that got a stream in both ways, then each is told with what both take of the air", () => {
  const account = accountWith("tablet", [sight(1, HALL), sight(3, HALL, -71)]);
  const report = buildReport(account, graph);
  const wifi = reportWifi(account, graph, withRatios(report, { tablet: 1, phone: 0 }));
  expect(wifi?.deliveries.map(({ agent, delivered }) => [agent, delivered])).toEqual([
    ["tablet", "unicast"],
    ["phone", "multicast"],
  ]);
  // By hand, 1398 B: 6 Mbit/s 1888 us; 65 Mbit/s 36 + 4 * ceil(11206 / 260) = 212 us and 44 us of answer; 101.5 us before each.
  const perSecond = 200e3 / (8 * 1316);
  expect(wifi?.deliveries[0]?.asMulticast.shareRatio).toBeCloseTo((perSecond * (1888 + 101.5)) / 1e6, 9);
  expect(wifi?.deliveries[0]?.asUnicast.shareRatio).toBeCloseTo((perSecond * (212 + 44 + 101.5)) / 1e6, 9);
  expect(wifi?.accessPoints[0]?.deliveredShareRatio).toBeCloseTo((perSecond * (1888 + 212 + 44 + 203)) / 1e6, 9);
  expect(wifi?.stations).toMatchObject([
    { agent: "tablet", accessPoint: "hall-ap", signalDbm: -71, leastSignalDbm: -71 },
  ]);
  const words = wifiWords(wifi ?? undefined).join("\n");
  expect(words).toContain("tablet at hall-ap got board as unicast, a copy of its own");
  expect(words).toContain("phone at hall-ap got board as multicast, sent once for all");
  expect(words).toContain("5180 MHz, 80 MHz wide, signal -71 dBm");
  // Where nobody watched, nobody knows.
  expect(report.wifi?.deliveries.map(({ delivered }) => delivered)).toEqual([null, null]);
  expect(report.wifi?.accessPoints[0]?.deliveredShareRatio).toBeNull();
});

test("report: given a roam, then it stands with its time and places, and a note says that the place held for a part", () => {
  const report = buildReport(accountWith("tablet", [sight(1, HALL), sight(3, null), sight(4, LOFT)]), graph);
  expect(report.roams).toEqual([
    { agent: "tablet", atMs: 4000, fromBssid: HALL, toBssid: LOFT, from: "hall-ap", to: "loft-ap" },
  ]);
  expect(report.notes.join("\n")).toContain("tablet roamed in the run (hall-ap, then loft-ap)");
  const lost = (sights: readonly WifiSight[]) =>
    buildReport(
      accountWith("tablet", sights, (who) => who === "tablet"),
      graph,
    ).findings.filter(({ suspects }) => suspects.some((suspect) => suspect.includes("tablet")));
  expect(Math.max(...lost([sight(1, HALL)]).map(({ confidence }) => confidence))).toBeGreaterThan(0.8);
  const doubted = lost([sight(1, HALL), sight(4, LOFT)]);
  expect(doubted.length).toBeGreaterThan(0);
  expect(Math.max(...doubted.map(({ confidence }) => confidence))).toBeLessThanOrEqual(0.8);
  // Away and back at the same one is no roam.
  expect(
    buildReport(accountWith("tablet", [sight(1, HALL), sight(3, null), sight(4, HALL)]), graph).roams,
  ).toBeUndefined();
});

test("report: given a station that was at another access point than planned, then what stops there is told of that one", () => {
  // What comes to the loft is lost: by the plan the tablet hangs in the hall, where the phone gets everything.
  const asPlanned = buildReport(
    accountWith("tablet", [], (who) => who === "tablet"),
    graph,
  );
  const asSeen = buildReport(
    accountWith("tablet", [sight(1, LOFT)], (who) => who === "tablet"),
    graph,
  );
  const suspects = (report: RunReport) => report.findings.flatMap((finding) => finding.suspects);
  expect(suspects(asPlanned)).not.toContain("loft-ap");
  expect(suspects(asSeen)).toEqual(
    expect.arrayContaining(["core:3>loft-ap:lan", "loft-ap", "loft-ap:r1>tablet:wlan0"]),
  );
  expect(asSeen.notes.join("\n")).toContain(`tablet was at loft-ap in this run (${LOFT}), not at hall-ap as planned`);
  const stranger = buildReport(accountWith("tablet", [sight(1, "02:00:5e:10:00:09")]), graph);
  expect(stranger.notes.join("\n")).toContain("its place is not known");
});

test("compare: given another way of delivery, then one comparison says at whom, and what it does to the air", () => {
  const account = accountWith("tablet", []);
  const report = buildReport(account, graph);
  const of = (ratios: Readonly<Record<string, number | null>>): RunReport => {
    const wifi = reportWifi(account, graph, withRatios(report, ratios));
    return wifi === null ? report : { ...report, wifi };
  };
  const [before, after] = [of({ tablet: 0, phone: 0 }), of({ tablet: 1, phone: 1 })];
  const [change, ...more] = compareDeliveries(before, after);
  expect(more).toEqual([]);
  expect(change).toMatchObject({
    what: "delivery over the air",
    stream: "board",
    places: ["hall-ap"],
    outcome: "better",
  });
  // 19 packets a second: 3.78 % as multicast, two copies 1.36 %; as in the test above.
  expect(change?.because).toBe(
    "hall-ap now sends board as unicast to tablet, phone; its share of the air by formula goes from 3.78 % to 1.36 %",
  );
  expect(compareDeliveries(after, before)[0]?.outcome).toBe("worse");
  expect(compareDeliveries(before, before)).toEqual([]);
  expect(compareDeliveries(before, of({ tablet: 1, phone: null }))[0]?.outcome).toBe("cant-tell");
  expect(compareDeliveries(report, after)).toEqual([]); // of the earlier one nothing is known
});
