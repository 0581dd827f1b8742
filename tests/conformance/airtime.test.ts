import { type AirStream, mpduSizes, multicastAirShare, unicastAirShare } from "@dyetrace/site";
import { answerUs, difsUs, meanBackoffUs } from "@dyetrace/wire/air/air-exchange";
import { OFDM_RATES_BPS, type OfdmRateBps, type PhyMode } from "@dyetrace/wire/air/phy-mode";
import { ppduUs, type RadioBand } from "@dyetrace/wire/air/ppdu-time";
import { expect, test } from "vitest";

const ofdm = (rateBps: OfdmRateBps): PhyMode => ({ format: "ofdm", rateBps });
const frameUs = (bytes: number, rateBps: OfdmRateBps, band: RadioBand) => ppduUs(ofdm(rateBps), bytes, band);
const station = (rateBps: OfdmRateBps) => ({ mode: ofdm(rateBps), aggregatedFrames: 1 });

const stream = (more: Partial<AirStream> = {}): AirStream => ({
  rateBps: 8e6,
  payloadBytes: 1316,
  family: 4,
  isProtected: false,
  band: "5 GHz",
  ...more,
});

// IEEE 802.11 OFDM PHY (clause 17, 20 MHz): 16 + 4 us preamble and SIGNAL, symbols of 4 us, 16 service and 6 tail bits.
// All values computed by hand from that; MAC, LLC and CCMP sizes (24 + 4, 8, 16) are from memory.
test.each([
  [1316, false, 6e6, 1380, 1864, 1965.5, 508.8, 5.356],
  [1316, false, 12e6, 1380, 944, 1045.5, 956.5, 10.07],
  [1316, false, 24e6, 1380, 484, 585.5, 1707.9, 17.981],
  [1316, false, 54e6, 1380, 228, 329.5, 3034.9, 31.951],
  [100, false, 6e6, 164, 244, 345.5, 2894.4, 2.315],
  [1472, false, 6e6, 1536, 2072, 2173.5, 460.1, 5.418],
  [1316, true, 12e6, 1398, 956, 1057.5, 945.6, 9.956],
] as const)(
  "airtime: given %i bytes (protected: %s) at %d bit/s, then MPDU %i bytes and %d us on the air",
  (payloadBytes, isProtected, rateBps, mpduBytes, airUs, takenUs, framesPerSecond, payloadMbps) => {
    expect(mpduSizes({ payloadBytes, family: 4, isProtected })).toEqual([mpduBytes]);
    expect(frameUs(mpduBytes, rateBps, "5 GHz")).toBe(airUs);
    const total = airUs + difsUs("5 GHz") + meanBackoffUs("5 GHz");
    expect(total).toBe(takenUs);
    expect(1e6 / total).toBeCloseTo(framesPerSecond, 1);
    expect((payloadBytes * 8) / total).toBeCloseTo(payloadMbps, 3);
    // A stream at exactly that rate takes all of the air.
    const full = stream({ rateBps: (payloadBytes * 8e6) / total, payloadBytes, isProtected });
    expect(multicastAirShare(full, ofdm(rateBps)).withBackoffRatio).toBeCloseTo(1, 12);
  },
);

// 8 Mbit/s of MPEG-TS are 759.878 datagrams of 1316 bytes a second; computed from the frame times above.
test.each([
  [6e6, 141.6, 144.2, 149.4],
  [12e6, 71.7, 74.3, 79.4],
  [24e6, 36.8, 39.4, 44.5],
  [54e6, 17.3, 19.9, 25.0],
] as const)(
  "airtime: given 8 Mbit/s as multicast at a basic rate of %d bit/s, then %d %% of the air",
  (rateBps, frames, difs, backoff) => {
    const share = multicastAirShare(stream(), ofdm(rateBps));
    expect(share.framesRatio * 100).toBeCloseTo(frames, 1);
    expect(share.withDifsRatio * 100).toBeCloseTo(difs, 1);
    expect(share.withBackoffRatio * 100).toBeCloseTo(backoff, 1);
  },
);

// Clause 17: data bits per symbol at 6 9 12 18 24 36 48 54 Mbit/s.
test("airtime: given each rate, then a frame that just fills its last symbol needs one more for one more byte", () => {
  const bitsPerSymbol = [24, 36, 48, 72, 96, 144, 192, 216];
  for (const [index, rateBps] of OFDM_RATES_BPS.entries()) {
    const bits = bitsPerSymbol[index] ?? Number.NaN;
    const symbols = 100;
    const bytes = Math.floor((symbols * bits - 22) / 8);
    expect(frameUs(bytes, rateBps, "5 GHz")).toBe(20 + 4 * symbols);
    expect(frameUs(bytes + 1, rateBps, "5 GHz")).toBe(20 + 4 * (symbols + 1));
  }
});

test("airtime: given 2.4 GHz, then each frame is followed by 6 us of silence and SIFS is 10 us (IEEE 802.11 clause 18)", () => {
  expect(frameUs(1380, 12e6, "2.4 GHz") - frameUs(1380, 12e6, "5 GHz")).toBe(6);
  expect(difsUs("2.4 GHz")).toBe(28); // from memory: short slot
  expect(difsUs("5 GHz")).toBe(34);
  expect(meanBackoffUs("5 GHz")).toBe(67.5);
});

// An acknowledgement has 14 bytes: 134 bits with service and tail, so 6, 3 and 2 symbols at 6, 12 and 24 Mbit/s (computed).
test.each([
  [6e6, 16 + 44],
  [9e6, 16 + 44],
  [12e6, 16 + 32],
  [18e6, 16 + 32],
  [24e6, 16 + 28],
  [54e6, 16 + 28],
] as const)("airtime: given a unicast frame at %d bit/s, then SIFS and acknowledgement take %i us", (rateBps, us) => {
  expect(answerUs(ofdm(rateBps), 1, "5 GHz")).toBe(us);
});

// Computed: (228 + 44) us x 759.878 frames/s = 20.67 % for one station at 54 Mbit/s; with DIFS and backoff 28.38 %.
test("airtime: given conversion to unicast, then each station adds its own frames and acknowledgements", () => {
  const one = unicastAirShare(stream(), [station(54e6)]);
  expect(one.framesRatio * 100).toBeCloseTo(20.67, 2);
  expect(one.withBackoffRatio * 100).toBeCloseTo(28.38, 2);
  const three = unicastAirShare(
    stream(),
    [54e6, 54e6, 54e6].map(() => station(54e6)),
  );
  expect(three.withBackoffRatio).toBeCloseTo(3 * one.withBackoffRatio, 12);
  expect(unicastAirShare(stream(), []).withBackoffRatio).toBe(0);
  // The trade: at a basic rate of 12 Mbit/s (79.4 %) conversion pays for two such stations and no longer for three.
  const multicast = multicastAirShare(stream(), ofdm(12e6)).withBackoffRatio;
  expect(2 * one.withBackoffRatio).toBeLessThan(multicast);
  expect(3 * one.withBackoffRatio).toBeGreaterThan(multicast);
});

test("airtime: given a datagram that is fragmented, then every fragment waits for its own turn", () => {
  const share = multicastAirShare(stream({ payloadBytes: 2000, rateBps: 16_000 }), ofdm(6e6)); // one datagram a second
  // 1480 + 528 bytes of IP payload in packets of 1500 and 548 bytes, so MPDUs of 1536 and 584 (RFC 791 section 3.2).
  const airUs = frameUs(1536, 6e6, "5 GHz") + frameUs(584, 6e6, "5 GHz");
  expect(share.framesRatio * 1e6).toBeCloseTo(airUs, 9);
  expect(share.withBackoffRatio * 1e6).toBeCloseTo(airUs + 2 * 101.5, 9);
});
