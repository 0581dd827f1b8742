import { loadSitePlan } from "@dyetrace/site";
import { loadScenario } from "@dyetrace/wire";
import { expect, test } from "vitest";
import { AIRTIME_DEFAULTS, planAirtime } from "./plan-airtime.ts";

const graph = loadSitePlan(
  `
site: Quillfen
nodes:
  core: { kind: switch, querier: true }
  hall-ap: { kind: access-point }
  loft-ap: { kind: access-point }
  tower: { kind: host }
  tablet: { kind: host }
  phone: { kind: host }
  camera: { kind: host }
links: [ "core:1 -- tower:eth0", "core:2 -- hall-ap:lan", "core:3 -- loft-ap:lan",
  "hall-ap:r1 -- tablet:wlan0", "hall-ap:r2 -- phone:wlan0", "loft-ap:r1 -- camera:wlan0" ]
`,
  "plan.yaml",
);
const scenario = loadScenario(
  `
scenario: reach
streams: [ { name: board, source: tower, group: 239.195.10.4, rate: 1 Mbit/s, payload: 1316 B } ]
timeline: [ { at: 0s, join: board, agents: [tablet, phone] }, { at: 1s, emit: board }, { at: 5s, stop: board } ]
`,
  "scenario.yaml",
).scenario;

/**
 * By hand from IEEE 802.11 clause 17 at 5 GHz: 24 B MAC header, 2 B QoS, 16 B CCMP, 8 B LLC, 28 B IP and UDP, 1316 B and 4 B FCS make 1398 B.
 */
const PACKETS_PER_SECOND = 1e6 / (8 * 1316);
const BEFORE_US = 34 + 7.5 * 9; // DIFS and the mean backoff
const AT_6_US = 20 + 4 * Math.ceil((16 + 8 * 1398 + 6) / 24);
const AT_54_US = 20 + 4 * Math.ceil((16 + 8 * 1398 + 6) / 216);
const ACKNOWLEDGED_US = 16 + 20 + 4 * Math.ceil((16 + 8 * 14 + 6) / 96); // SIFS, 14 B at 24 Mbit/s

test("planAirtime: given two stations that join, then multicast takes the air once and unicast twice", () => {
  const [hall] = planAirtime(graph, scenario);
  const [board] = hall?.streams ?? [];
  expect(board?.stations).toEqual(["tablet", "phone"]);
  const multicast = board?.multicast.find(({ basicRateBps }) => basicRateBps === 6e6);
  expect(multicast?.share.withBackoffRatio).toBeCloseTo((PACKETS_PER_SECOND * (AT_6_US + BEFORE_US)) / 1e6, 9);
  const unicast = board?.unicast.find(({ stationRateBps }) => stationRateBps === 54e6);
  const onceUs = AT_54_US + ACKNOWLEDGED_US + BEFORE_US;
  expect(unicast?.share.withBackoffRatio).toBeCloseTo((2 * PACKETS_PER_SECOND * onceUs) / 1e6, 9);
});

test("planAirtime: given an access point behind which nobody joins, then the stream does not come there", () => {
  const loft = planAirtime(graph, scenario).find(({ accessPoint }) => accessPoint === "loft-ap");
  expect(loft?.streams.map(({ isCarried }) => isCarried)).toEqual([false]);
});

test("planAirtime: given no scenario, then a sample stream stands at each access point, at every rate asked for", () => {
  const all = planAirtime(graph, null, { ...AIRTIME_DEFAULTS, basicRatesBps: [6e6] });
  expect(all.map(({ accessPoint, streams }) => [accessPoint, streams[0]?.multicast.length])).toEqual([
    ["hall-ap", 1],
    ["loft-ap", 1],
  ]);
});
