import { ipPacketSizes } from "./ip-packet-sizes.ts";

/**
 * Airtime of IEEE 802.11 frames with OFDM in a 20 MHz channel (clause 17, the PHY of 802.11a; 802.11g uses it at
 * 2.4 GHz): what a multicast stream takes of a radio. All times in microseconds.
 *
 * Left out, so that the result is the least that the air can be taken: beacons, retries, other stations, frames that
 * collide, and the older 802.11b rates.
 */
export const OFDM_RATES_BPS = [6e6, 9e6, 12e6, 18e6, 24e6, 36e6, 48e6, 54e6] as const;
export type OfdmRateBps = (typeof OFDM_RATES_BPS)[number];
export type RadioBand = "5 GHz" | "2.4 GHz";

const PREAMBLE_AND_SIGNAL_US = 16 + 4;
const SYMBOL_US = 4;
const SERVICE_BITS = 16;
const TAIL_BITS = 6;
/** At 2.4 GHz each OFDM frame is followed by 6 us of silence (clause 18). The short slot is assumed there. */
const BANDS = {
  "5 GHz": { slotUs: 9, sifsUs: 16, extensionUs: 0 },
  "2.4 GHz": { slotUs: 9, sifsUs: 10, extensionUs: 6 },
} as const;
const CW_MIN = 15;

const MAC_HEADER_BYTES = 24;
const LLC_SNAP_BYTES = 8;
const FCS_BYTES = 4;
const QOS_BYTES = 2;
const CCMP_BYTES = 16;
const ACK_BYTES = 14;

/** Time that a frame of `mpduBytes` (MAC header and FCS included) is on the air. */
export function frameUs(mpduBytes: number, rateBps: OfdmRateBps, band: RadioBand): number {
  const bitsPerSymbol = (rateBps / 1e6) * SYMBOL_US;
  const symbols = Math.ceil((SERVICE_BITS + 8 * mpduBytes + TAIL_BITS) / bitsPerSymbol);
  return PREAMBLE_AND_SIGNAL_US + SYMBOL_US * symbols + BANDS[band].extensionUs;
}

/** Silence that a station waits for before its backoff: SIFS and two slots. */
export const difsUs = (band: RadioBand): number => BANDS[band].sifsUs + 2 * BANDS[band].slotUs;

/** Mean of a backoff drawn from 0 to CWmin slots. */
export const meanBackoffUs = (band: RadioBand): number => (CW_MIN / 2) * BANDS[band].slotUs;

/** SIFS and the acknowledgement, which answers at the highest of 6, 12 and 24 Mbit/s that the frame's rate allows. */
export function acknowledgementUs(rateBps: OfdmRateBps, band: RadioBand): number {
  const ackRateBps = rateBps >= 24e6 ? 24e6 : rateBps >= 12e6 ? 12e6 : 6e6;
  return BANDS[band].sifsUs + frameUs(ACK_BYTES, ackRateBps, band);
}

/** A stream on the air. */
export interface AirStream {
  /** UDP payload bits per second. */
  readonly rateBps: number;
  readonly payloadBytes: number;
  readonly family: 4 | 6;
  /** QoS header and CCMP encryption on every frame. */
  readonly isProtected: boolean;
  readonly band: RadioBand;
}

/** Sizes of the MAC frames (FCS included) that carry one datagram of the stream. */
export function mpduSizes({
  payloadBytes,
  family,
  isProtected,
}: Pick<AirStream, "payloadBytes" | "family" | "isProtected">): number[] {
  const overheadBytes = MAC_HEADER_BYTES + LLC_SNAP_BYTES + FCS_BYTES + (isProtected ? QOS_BYTES + CCMP_BYTES : 0);
  return ipPacketSizes(payloadBytes, family).map((ipBytes) => overheadBytes + ipBytes);
}

/** Share of the radio's time; above 1 the stream cannot fit. */
export interface AirShare {
  /** Counting the frames alone. */
  readonly framesRatio: number;
  /** With the silence that must come before each frame. */
  readonly withDifsRatio: number;
  /** With the average backoff as well: what is gone for everyone else. */
  readonly withBackoffRatio: number;
}

/** The stream as multicast: each frame once, at the basic rate, without acknowledgement (RFC 9119 section 3.1). */
export const multicastAirShare = (stream: AirStream, basicRateBps: OfdmRateBps): AirShare =>
  share(stream, (mpduBytes) => frameUs(mpduBytes, basicRateBps, stream.band));

/**
 * The stream converted to unicast (RFC 9119 section 4.6.2): each frame once per station, at the station's own rate,
 * acknowledged, none retried.
 * @param unicastRatesBps one rate per station that has joined
 */
export function unicastAirShare(stream: AirStream, unicastRatesBps: readonly OfdmRateBps[]): AirShare {
  const shares = unicastRatesBps.map((rateBps) =>
    share(stream, (mpduBytes) => frameUs(mpduBytes, rateBps, stream.band) + acknowledgementUs(rateBps, stream.band)),
  );
  const sum = (key: keyof AirShare): number => shares.reduce((total, one) => total + one[key], 0);
  return {
    framesRatio: sum("framesRatio"),
    withDifsRatio: sum("withDifsRatio"),
    withBackoffRatio: sum("withBackoffRatio"),
  };
}

function share(stream: AirStream, airUs: (mpduBytes: number) => number): AirShare {
  const datagramsPerSecond = stream.rateBps / (8 * stream.payloadBytes);
  const frames = mpduSizes(stream);
  const framesRatio = (datagramsPerSecond * frames.reduce((sum, mpduBytes) => sum + airUs(mpduBytes), 0)) / 1e6;
  const perFrame = (waitUs: number): number => (datagramsPerSecond * frames.length * waitUs) / 1e6;
  const withDifsRatio = framesRatio + perFrame(difsUs(stream.band));
  return { framesRatio, withDifsRatio, withBackoffRatio: withDifsRatio + perFrame(meanBackoffUs(stream.band)) };
}
