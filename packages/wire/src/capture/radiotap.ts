import type { Coding, DsssRateBps, HeMode, OfdmRateBps, PhyMode, VhtMode } from "../air/phy-mode.ts";
import { DSSS_RATES_BPS, noSuchMode, OFDM_RATES_BPS } from "../air/phy-mode.ts";
import type { RadioBand } from "../air/ppdu-time.ts";

/** What a radiotap header says of its frame; null where it does not say. */
export interface Radiotap {
  readonly headerBytes: number;
  /** Timer of the radio when the frame's first bit came, us. */
  readonly timerUs: number | null;
  readonly band: RadioBand | null;
  readonly mode: PhyMode | null;
  /** The same for all frames of one A-MPDU; null outside of one. */
  readonly aggregate: number | null;
  readonly hasFcs: boolean;
  readonly isBad: boolean;
  /** Padded after the MAC header, to 4 bytes. */
  readonly isPadded: boolean;
}

/** Alignment and size of the fields by number, as www.radiotap.org has them. */
const FIELDS: readonly (readonly [number, number])[] = [
  [8, 8], // TSFT
  [1, 1], // flags
  [1, 1], // rate
  [2, 4], // channel
  [1, 2], // FHSS
  [1, 1], // signal, dBm
  [1, 1], // noise, dBm
  [2, 2], // lock quality
  [2, 2], // transmit attenuation
  [2, 2], // the same, dB
  [1, 1], // transmit power
  [1, 1], // antenna
  [1, 1], // signal, dB
  [1, 1], // noise, dB
  [2, 2], // RX flags
  [2, 2], // TX flags
  [1, 1], // RTS retries
  [1, 1], // data retries
  [4, 8], // XChannel
  [1, 3], // MCS
  [4, 8], // A-MPDU status
  [2, 12], // VHT
  [8, 12], // timestamp
  [2, 12], // HE
];
const [TSFT, FLAGS, RATE, CHANNEL, RX_FLAGS, MCS, A_MPDU, VHT, HE] = [0, 1, 2, 3, 14, 19, 20, 21, 23];
const MORE_WORDS = 0x8000_0000;

/** Reads the header in front of a captured frame. Never throws. @returns null where there is none, or it is damaged */
export function decodeRadiotap(bytes: Uint8Array): Radiotap | null {
  const view = new DataView(bytes.buffer, bytes.byteOffset, bytes.byteLength);
  if (view.byteLength < 8 || view.getUint8(0) !== 0) return null;
  const headerBytes = view.getUint16(2, true);
  if (headerBytes < 8 || headerBytes > view.byteLength) return null;
  const present = view.getUint32(4, true);
  let at = 4;
  while ((view.getUint32(at, true) & MORE_WORDS) !== 0) {
    at += 4;
    if (at + 4 > headerBytes) return null;
  }
  at += 4;
  const places = new Map<number, number>();
  for (const [number, [alignment, sizeBytes]] of FIELDS.entries()) {
    if ((present & (1 << number)) === 0) continue;
    at = Math.ceil(at / alignment) * alignment;
    if (at + sizeBytes > headerBytes) return null;
    places.set(number, at);
    at += sizeBytes;
  }
  return readFields(view, headerBytes, places);
}

function readFields(view: DataView, headerBytes: number, places: ReadonlyMap<number, number>): Radiotap {
  const at = <T>(field: number, read: (place: number) => T): T | null => {
    const place = places.get(field);
    return place === undefined ? null : read(place);
  };
  const flags = at(FLAGS, (place) => view.getUint8(place)) ?? 0;
  const isHardlyReceived = ((at(RX_FLAGS, (place) => view.getUint16(place, true)) ?? 0) & 2) !== 0; // bad PLCP
  const mhz = at(CHANNEL, (place) => view.getUint16(place, true));
  const mode = places.has(HE)
    ? at(HE, (place) => heMode(view, place))
    : places.has(VHT)
      ? at(VHT, (place) => vhtMode(view, place))
      : places.has(MCS)
        ? at(MCS, (place) => htMode(view, place))
        : at(RATE, (place) => rateMode(view.getUint8(place), (flags & 0x02) !== 0));
  const timer = at(TSFT, (place) => view.getUint32(place, true) + view.getUint32(place + 4, true) * 2 ** 32);
  return {
    headerBytes,
    timerUs: timer,
    band: mhz === null ? null : bandOf(mhz),
    mode: mode === null || noSuchMode(mode) !== null ? null : mode,
    aggregate: at(A_MPDU, (place) => view.getUint32(place, true)),
    hasFcs: (flags & 0x10) !== 0,
    isPadded: (flags & 0x20) !== 0,
    isBad: (flags & 0x40) !== 0 || isHardlyReceived,
  };
}

/** @returns null for a frequency of no band of these */
function bandOf(mhz: number): RadioBand | null {
  if (mhz >= 2400 && mhz < 2500) return "2.4 GHz";
  if (mhz >= 4900 && mhz < 5925) return "5 GHz";
  return mhz >= 5925 && mhz <= 7125 ? "6 GHz" : null;
}

/** @param halfMbps in 500 kbit/s */
function rateMode(halfMbps: number, isShortPreamble: boolean): PhyMode | null {
  const rateBps = halfMbps * 500_000;
  if (DSSS_RATES_BPS.some((one) => one === rateBps)) {
    return { format: "dsss", rateBps: rateBps as DsssRateBps, isShortPreamble };
  }
  if (OFDM_RATES_BPS.some((one) => one === rateBps)) return { format: "ofdm", rateBps: rateBps as OfdmRateBps };
  return null;
}

/** Where the coding is not told, the one that takes less air. */
const codingOf = (isKnown: boolean, isLdpc: boolean): Coding => (isKnown && !isLdpc ? "bcc" : "ldpc");

/** Known: bandwidth 1, index 2, guard interval 4, format 8, coding 16. */
function htMode(view: DataView, at: number): PhyMode | null {
  const [known, flags, mcs] = [view.getUint8(at), view.getUint8(at + 1), view.getUint8(at + 2)];
  if ((known & 0x07) !== 0x07) return null;
  return {
    format: "ht",
    mcs,
    widthMhz: (flags & 0x03) === 1 ? 40 : 20,
    guardNs: (flags & 0x04) === 0 ? 800 : 400,
    coding: codingOf((known & 0x10) !== 0, (flags & 0x10) !== 0),
    isGreenfield: (known & 0x08) !== 0 && (flags & 0x08) !== 0,
  };
}

/** Known: guard interval 4, bandwidth 0x40. Of several users the first counts: all are on the air as long. */
function vhtMode(view: DataView, at: number): PhyMode | null {
  const known = view.getUint16(at, true);
  const [flags, bandwidth] = [view.getUint8(at + 2), view.getUint8(at + 3) & 0x1f];
  const user = [0, 1, 2, 3].find((index) => (view.getUint8(at + 4 + index) & 0x0f) > 0);
  if ((known & 0x44) !== 0x44 || user === undefined) return null;
  const mcsAndStreams = view.getUint8(at + 4 + user);
  const widthMhz = VHT_WIDTHS_MHZ[bandwidth];
  if (widthMhz === undefined) return null;
  return {
    format: "vht",
    mcs: mcsAndStreams >> 4,
    streams: mcsAndStreams & 0x0f,
    widthMhz,
    guardNs: (flags & 0x04) === 0 ? 800 : 400,
    coding: (view.getUint8(at + 8) & (1 << user)) === 0 ? "bcc" : "ldpc",
  };
}

/** By the table at www.radiotap.org; its numbers for a part of a wider channel are rare, and not known here. */
const VHT_WIDTHS_MHZ: Readonly<Record<number, VhtMode["widthMhz"]>> = { 0: 20, 1: 40, 4: 80, 11: 160 };

/**
 * Six words: 1 and 2 say what is known. Frames for one station in the whole width only: how long another format is on the
 * air does not follow from what stands here.
 */
function heMode(view: DataView, at: number): PhyMode | null {
  const word = (number: number): number => view.getUint16(at + 2 * (number - 1), true);
  const [one, two, three, five, six] = [word(1), word(2), word(3), word(5), word(6)];
  const isSingleUser = (one & 0x0003) === 0;
  const isKnown = (one & 0x4020) === 0x4020 && (two & 0x0002) !== 0; // width, MCS; guard interval
  const widthMhz = ([20, 40, 80, 160] as const)[five & 0x000f];
  const guardNs = ([800, 1600, 3200] as const)[(five >> 4) & 0x03];
  const trainingFactor = ([null, 1, 2, 4] as const)[(five >> 6) & 0x03];
  if (!isSingleUser || !isKnown || widthMhz === undefined || guardNs === undefined) return null;
  const mode: HeMode = {
    format: "he",
    mcs: (three >> 8) & 0x0f,
    streams: six & 0x0f,
    widthMhz,
    guardNs,
    coding: codingOf((one & 0x0080) !== 0, (three & 0x2000) !== 0),
    isDualCarrier: (one & 0x0040) !== 0 && (three & 0x1000) !== 0,
  };
  return trainingFactor === null || trainingFactor === undefined ? mode : { ...mode, trainingFactor };
}
