import { type AirStream, unicastAirShare } from "@dyetrace/site";
import { answerUs, difsUs, meanBackoffUs, psduBytes } from "@dyetrace/wire/air/air-exchange";
import {
  type DsssRateBps,
  encoders,
  type HeMode,
  type HtMode,
  noSuchMode,
  phyRateBps,
  symbolUs,
  type VhtMode,
} from "@dyetrace/wire/air/phy-mode";
import { dataSymbols, ppduUs } from "@dyetrace/wire/air/ppdu-time";
import { expect, test } from "vitest";

const ht = (mcs: number, more: Partial<HtMode> = {}): HtMode => ({
  format: "ht",
  mcs,
  widthMhz: 20,
  guardNs: 800,
  coding: "bcc",
  ...more,
});
const vht = (mcs: number, more: Partial<VhtMode> = {}): VhtMode => ({
  format: "vht",
  mcs,
  streams: 1,
  widthMhz: 20,
  guardNs: 800,
  coding: "bcc",
  ...more,
});
const he = (mcs: number, more: Partial<HeMode> = {}): HeMode => ({
  format: "he",
  mcs,
  streams: 1,
  widthMhz: 20,
  guardNs: 800,
  coding: "bcc",
  ...more,
});

// IEEE Std 802.11-2007, table 18-2 (examples of LENGTH for CCK), and clause 18.2.3.5, as the durations in ns-3's
// src/wifi/test/tx-duration-test.cc (commit 1999f310) quote them; 304 us for 14 bytes at 1 Mbit/s is there as well.
test.each([
  [11e6, 1023, 744],
  [11e6, 1024, 745],
  [11e6, 1025, 746],
  [11e6, 1026, 747],
  [5.5e6, 1023, 1488],
  [5.5e6, 1024, 1490],
  [2e6, 1024, 4096],
  [1e6, 14, 112],
] as const)("ppduUs: given 802.11b at %d bit/s and %i bytes, then %i us follow the preamble", (rateBps, bytes, us) => {
  const of = (isShortPreamble: boolean) =>
    ppduUs({ format: "dsss", rateBps: rateBps as DsssRateBps, isShortPreamble }, bytes, "2.4 GHz");
  expect(of(false)).toBe(192 + us);
  expect(of(true)).toBe((rateBps === 1e6 ? 192 : 96) + us);
});

// The same file, "802.11a durations": 1536, 76 and 14 bytes at 54 Mbit/s; 6 us more with 802.11g.
test.each([
  [1536, 248],
  [76, 32],
  [14, 24],
] as const)("ppduUs: given %i bytes at 54 Mbit/s, then %i us, and 6 us more at 2.4 GHz", (bytes, us) => {
  expect(ppduUs({ format: "ofdm", rateBps: 54e6 }, bytes, "5 GHz")).toBe(us);
  expect(ppduUs({ format: "ofdm", rateBps: 54e6 }, bytes, "2.4 GHz")).toBe(us + 6);
});

// The same file, "802.11n durations", mixed format. With the short guard interval it lacks the standard's rounding to 4 us
// (equation 19-90), so that its symbols are compared, and the rounded time was computed by hand.
test.each([
  [ht(7), 1536, 228, 228],
  [ht(7), 76, 48, 48],
  [ht(7), 14, 40, 40],
  [ht(0, { guardNs: 400 }), 1536, 1742.4, 1744],
  [ht(0, { guardNs: 400 }), 14, 57.6, 60],
  [ht(6, { guardNs: 400 }), 1536, 226.8, 228],
  [ht(7, { widthMhz: 40 }), 1536, 128, 128],
  [ht(7, { widthMhz: 40, guardNs: 400 }), 1536, 118.8, 120],
])("ppduUs: given %o and %i bytes, then %d us by symbols and %d us in all", (mode, bytes, unroundedUs, us) => {
  expect(36 + dataSymbols(mode, bytes) * symbolUs(mode)).toBeCloseTo(unroundedUs, 9);
  expect(ppduUs(mode, bytes, "5 GHz")).toBe(us);
});

// The same file, "802.11ac durations". It leaves out VHT-SIG-B, 4 us in every VHT PPDU (clause 21.3.2), and the rounding.
test.each([
  [vht(8), 1536, 196],
  [vht(8), 76, 48],
  [vht(8, { guardNs: 400 }), 1536, 180],
  [vht(9, { widthMhz: 40 }), 1536, 108],
  [vht(0, { widthMhz: 80 }), 1536, 460],
  [vht(0, { widthMhz: 80, guardNs: 400 }), 1536, 417.6],
  [vht(9, { widthMhz: 80 }), 1536, 68],
  [vht(8, { widthMhz: 160 }), 1536, 56],
])("ppduUs: given %o and %i bytes, then %d us without VHT-SIG-B", (mode, bytes, us) => {
  expect(36 + dataSymbols(mode, bytes) * symbolUs(mode)).toBeCloseTo(us, 9);
  expect(ppduUs(mode, bytes, "5 GHz")).toBe(Math.ceil((us - 36) / 4 - 1e-9) * 4 + 40);
});

// The same file, "802.11ax SU durations", with a training symbol of 8 us throughout: 44 us before the data. Ours has 6.4 us
// and the guard interval, or 12.8 us and 3.2 us.
test.each([
  [he(0), 1536, 1485.6],
  [he(0), 76, 125.6],
  [he(0, { widthMhz: 40, coding: "ldpc" }), 1536, 764.8],
  [he(0, { widthMhz: 80, coding: "ldpc" }), 1536, 397.6],
  [he(0, { widthMhz: 160, coding: "ldpc" }), 1536, 220.8],
  [he(0, { guardNs: 1600 }), 1536, 1570.4],
  [he(0, { guardNs: 3200 }), 1536, 1740],
  [he(11), 1536, 139.2],
  [he(11, { widthMhz: 80, coding: "ldpc" }), 1536, 71.2],
  [he(11, { widthMhz: 160, coding: "ldpc", guardNs: 3200 }), 1536, 60],
] as const)("ppduUs: given %o and %i bytes, then %d us with a training symbol of 8 us", (mode, bytes, us) => {
  expect(44 + dataSymbols(mode, bytes) * symbolUs(mode)).toBeCloseTo(us, 9);
  const trainingUs = mode.guardNs === 3200 ? 16 : 6.4 + mode.guardNs / 1000;
  expect(ppduUs(mode, bytes, "5 GHz")).toBeCloseTo(us - 8 + trainingUs, 9);
});

// Data rates of the tables of clauses 19.5, 21.5 and 27.5 (from memory; they are widely printed).
test.each([
  [ht(7), 65],
  [ht(7, { guardNs: 400 }), 72.2],
  [ht(15, { widthMhz: 40, guardNs: 400 }), 300],
  [ht(31, { widthMhz: 40, guardNs: 400 }), 600],
  [vht(8), 78],
  [vht(9, { widthMhz: 80, guardNs: 400 }), 433.3],
  [vht(9, { widthMhz: 80, streams: 3, guardNs: 400 }), 1300],
  [vht(9, { widthMhz: 160, streams: 8, guardNs: 400 }), 6933.3],
  [he(0), 8.6],
  [he(11, { widthMhz: 80, streams: 2, coding: "ldpc" }), 1201],
  [he(11, { widthMhz: 160, streams: 8, coding: "ldpc" }), 9607.8],
])("phyRateBps: given %o, then %d Mbit/s", (mode, mbps) => {
  expect(Number((phyRateBps(mode) / 1e6).toFixed(1))).toBe(mbps);
});

// Clause 21.5 has no row for these (from memory); tables 19-30 and on: two encoders above 300 Mbit/s.
test("noSuchMode: given the combinations that 802.11ac leaves out, then they are none, and no others of up to 4 streams", () => {
  const left: string[] = [];
  for (const widthMhz of [20, 40, 80, 160] as const)
    for (let streams = 1; streams <= 4; streams++)
      for (let mcs = 0; mcs <= 9; mcs++)
        if (noSuchMode(vht(mcs, { streams, widthMhz })) !== null) left.push(`${widthMhz} ${streams} ${mcs}`);
  expect(left).toEqual(["20 1 9", "20 2 9", "20 4 9", "80 3 6", "160 3 9"]);
  expect(encoders(ht(15, { widthMhz: 40 }))).toBe(1);
  expect(encoders(ht(23, { widthMhz: 40 }))).toBe(2);
});

// By the formulas, by hand: an answer to 64QAM goes at 24 Mbit/s (28 us for 14 bytes, 32 us for a block acknowledgement).
test("answerUs: given one frame or several, then an acknowledgement or a block acknowledgement at the mandatory rate", () => {
  expect(answerUs(vht(7), 1, "5 GHz")).toBe(16 + 28);
  expect(answerUs(vht(7), 8, "5 GHz")).toBe(16 + 32);
  expect(answerUs(he(0), 8, "5 GHz")).toBe(16 + 20 + 4 * Math.ceil((16 + 8 * 32 + 6) / 24));
  expect(answerUs(ht(1), 1, "2.4 GHz")).toBe(10 + 20 + 4 * Math.ceil((16 + 8 * 14 + 6) / 48) + 6);
  // 802.11b: slots of 20 us and 0 to 31 of them (clause 16.3.4, from memory).
  const dsss = { format: "dsss", rateBps: 11e6, isShortPreamble: false } as const;
  expect(answerUs(dsss, 1, "2.4 GHz")).toBe(10 + 192 + 56);
  expect([difsUs("2.4 GHz", dsss), meanBackoffUs("2.4 GHz", dsss)]).toEqual([50, 310]);
});

// Clause 9.7.1: 4 bytes of delimiter before each frame, all but the last padded to 4 bytes.
test("psduBytes: given frames, then delimiters and padding count where the format has them", () => {
  expect(psduBytes(ht(7), [1398])).toBe(1398);
  expect(psduBytes(vht(7), [1398])).toBe(1402);
  expect(psduBytes(ht(7), [1398, 1398])).toBe(4 + 1400 + 4 + 1398);
});

test("unicastAirShare: given aggregation, then frames share waiting and answer, and no PPDU is longer than 5.484 ms", () => {
  const stream: AirStream = { rateBps: 8e6, payloadBytes: 1316, family: 4, isProtected: true, band: "5 GHz" };
  const of = (mode: HtMode | VhtMode, aggregatedFrames: number) =>
    unicastAirShare(stream, [{ mode, aggregatedFrames }]).withBackoffRatio;
  const packetsPerSecond = 8e6 / (8 * 1316);
  const mode = vht(7, { widthMhz: 80 });
  const single = ppduUs(mode, 1402, "5 GHz") + 44 + 34 + 67.5;
  expect(of(mode, 1)).toBeCloseTo((packetsPerSecond * single) / 1e6, 9);
  const sixteen = ppduUs(mode, 15 * 1404 + 1402, "5 GHz") + 48 + 34 + 67.5;
  expect(of(mode, 16)).toBeCloseTo((packetsPerSecond * sixteen) / 16 / 1e6, 9);
  // At 6.5 Mbit/s three such frames take 5.2 ms and four too long.
  expect(of(ht(0), 64)).toBe(of(ht(0), 3));
  expect(of(ht(0), 3)).toBeLessThan(of(ht(0), 2));
});
