import { loadSitePlan } from "@dyetrace/site";
import { loadScenario } from "@dyetrace/wire";
import { expect, test } from "vitest";
import { airCautions } from "./air-cautions.ts";
import { channelAirtimes } from "./channel-airtime.ts";
import { AS_PLANNED, planAirtime } from "./plan-airtime.ts";

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
  const multicast = board?.multicast.find(({ mode }) => mode === "6 Mbit/s");
  expect(multicast?.share.withBackoffRatio).toBeCloseTo((PACKETS_PER_SECOND * (AT_6_US + BEFORE_US)) / 1e6, 9);
  const unicast = board?.unicast.find(({ mode }) => mode === "54 Mbit/s");
  const onceUs = AT_54_US + ACKNOWLEDGED_US + BEFORE_US;
  expect(unicast?.share.withBackoffRatio).toBeCloseTo((2 * PACKETS_PER_SECOND * onceUs) / 1e6, 9);
});

test("planAirtime: given an access point behind which nobody joins, then the stream does not come there", () => {
  const loft = planAirtime(graph, scenario).find(({ accessPoint }) => accessPoint === "loft-ap");
  expect(loft?.streams.map(({ isCarried }) => isCarried)).toEqual([false]);
});

test("planAirtime: given no scenario, then a sample stream stands at each access point, at every rate asked for", () => {
  const all = planAirtime(graph, null, { ...AS_PLANNED, multicastModes: [{ format: "ofdm", rateBps: 6e6 }] });
  expect(all.map(({ accessPoint, streams }) => [accessPoint, streams[0]?.multicast.length])).toEqual([
    ["hall-ap", 1],
    ["loft-ap", 1],
  ]);
});

const PLANNED = `
site: Quillfen
nodes:
  core: { kind: switch, querier: true }
  hall-ap:
    kind: access-point
    bssid: 02:00:5E:10:00:01
    radio: { band: 5 GHz, channel: 36, multicast-rate: 24 Mbit/s, dtim: 3, standard: ac, channel-width: 80 MHz, mcs: 7, streams: 2, aggregate: 8 }
  loft-ap:
    kind: access-point
    radio: { band: 5 GHz, channel: 36, multicast-rate: 12 Mbit/s, conversion: true, standard: n, mcs: 4 }
  tower: { kind: host }
  tablet: { kind: host }
  phone: { kind: host, radio: { standard: g, rate: 12 Mbit/s } }
  camera: { kind: host }
links: [ "core:1 -- tower:eth0", "core:2 -- hall-ap:lan", "core:3 -- loft-ap:lan",
  "hall-ap:r1 -- tablet:wlan0", "hall-ap:r2 -- phone:wlan0", "loft-ap:r1 -- camera:wlan0" ]
`;
const TWO_STREAMS = `
scenario: reach
streams:
  - { name: board, source: tower, group: 239.195.10.4, rate: 1 Mbit/s, payload: 1316 B }
  - { name: music, source: tower, group: 239.195.10.5, rate: 64 kbit/s, payload: 160 B }
timeline:
  - { at: 0s, join: board, agents: [tablet, phone, camera] }
  - { at: 0s, join: music, agents: [tablet] }
  - { at: 1s, emit: board }
  - { at: 1s, emit: music }
  - { at: 5s, stop: board }
  - { at: 5s, stop: music }
`;

test("planAirtime: given radios in the plan, then each station counts in its own mode and all streams and channels are summed", () => {
  const planned = loadSitePlan(PLANNED, "plan.yaml");
  expect(planned.nodes.get("hall-ap")?.bssids).toEqual(["02:00:5e:10:00:01"]);
  const [hall, loft] = planAirtime(planned, loadScenario(TWO_STREAMS, "scenario.yaml").scenario);
  const [board, music] = hall?.streams ?? [];
  // By hand, 1398 B: at 24 Mbit/s 117 symbols of 96 bits make 488 us, and 101.5 us before it.
  expect(board?.multicast.map(({ mode }) => mode)).toEqual(["24 Mbit/s"]);
  expect(board?.multicast[0]?.share.withBackoffRatio).toBeCloseTo((PACKETS_PER_SECOND * (488 + BEFORE_US)) / 1e6, 9);
  // tablet: 8 subframes of 4 + 1400 B, the last without its 2 B of padding: 11230 B, 234 * 6 * 2 * 5/6 = 2340 bits a symbol, two encoders'
  // tails (585 Mbit/s at the long guard interval): 39 symbols; 44 us of preamble with two training symbols.
  const tabletUs =
    (44 + 4 * Math.ceil((16 + 8 * 11230 + 12) / 2340) + 16 + 20 + 4 * Math.ceil((22 + 8 * 32) / 96) + BEFORE_US) / 8;
  // phone: 12 Mbit/s, acknowledged at 12 Mbit/s.
  const phoneUs = 20 + 4 * Math.ceil((22 + 8 * 1398) / 48) + 16 + 20 + 4 * Math.ceil((22 + 8 * 14) / 48) + BEFORE_US;
  expect(board?.unicast).toHaveLength(1);
  expect(board?.copies[0]?.share.withBackoffRatio).toBeCloseTo((PACKETS_PER_SECOND * tabletUs) / 1e6, 9);
  expect(board?.copies[1]?.share.withBackoffRatio).toBeCloseTo((PACKETS_PER_SECOND * phoneUs) / 1e6, 9);
  expect(board?.unicast[0]?.share.withBackoffRatio).toBeCloseTo((PACKETS_PER_SECOND * (tabletUs + phoneUs)) / 1e6, 9);
  expect(hall?.multicast[0]?.share.withBackoffRatio).toBeCloseTo(
    [board, music].reduce((sum, one) => sum + (one?.multicast[0]?.share.withBackoffRatio ?? Number.NaN), 0),
    12,
  );
  const [channel] = channelAirtimes([hall, loft].flatMap((one) => one ?? []));
  expect(channel?.accessPoints).toEqual(["hall-ap", "loft-ap"]);
  expect(channel?.multicast.framesRatio).toBeCloseTo(
    (hall?.multicast[0]?.share.framesRatio ?? Number.NaN) + (loft?.multicast[0]?.share.framesRatio ?? Number.NaN),
    12,
  );
});

test("airCautions: given what the plan says of conversion and DTIM, then both modes, copies and clumps stand in words", () => {
  const planned = loadSitePlan(PLANNED, "plan.yaml");
  const said = airCautions(planned, loadScenario(TWO_STREAMS, "scenario.yaml").scenario).map(
    ({ sentence }) => sentence,
  );
  expect(said[0]).toMatch(
    /^hall-ap has to send 2 streams over the air: at least 6\.\d+ % .* as multicast at 24 Mbit\/s, .* as unicast \(3 copies/,
  );
  // 3 beacons of 102.4 ms; 94.99 and 50 packets a second
  expect(said[1]).toContain("every 307 ms, about 45 packets at once");
  expect(said[2]).toContain("the plan has it send unicast");
  expect(said.at(-1)).toMatch(/^hall-ap and loft-ap share channel 36/);
});

test.each([
  ["radio: { standard: ac, mcs: 9 }", "802.11ac has no MCS 9 with 1 streams in 20 MHz"],
  ["radio: { standard: ac }", "802.11ac is given without an MCS"],
  ["radio: { standard: g, rate: 130 Mbit/s }", "130 Mbit/s is no rate of 802.11a, b or g"],
  ["radio: { multicast-rate: 1 Mbit/s }", "1 Mbit/s is a rate of 802.11b, which is at 2.4 GHz only"],
  ["radio: { mcs: 3 }", '"mcs" means nothing without the standard'],
  ["radio: { band: 2.4 GHz, standard: ac, mcs: 3 }", "At 2.4 GHz there is no 802.11ac"],
  ["bssid: hall", '"hall" is no BSSID'],
])("loadSitePlan: given an access point with %s, then it says what is wrong", (keys, sentence) => {
  const text = PLANNED.replace(/hall-ap:\n.*\n.*\n.*\n/, `hall-ap: { kind: access-point, ${keys} }\n`);
  expect(() => loadSitePlan(text, "plan.yaml")).toThrow(sentence);
});
