/**
 * The ways in which IEEE 802.11 puts a frame on the air. Clauses are those of IEEE 802.11-2020; those of HE are of IEEE
 * 802.11ax-2021. Tables of rates are from memory, and the tests hold them to published durations.
 */
export type PhyMode = DsssMode | OfdmMode | HtMode | VhtMode | HeMode;

/** 802.11b: clauses 15 and 16. */
export interface DsssMode {
  readonly format: "dsss";
  readonly rateBps: DsssRateBps;
  /** 72 bits of preamble instead of 144; never at 1 Mbit/s. */
  readonly isShortPreamble: boolean;
}

/** 802.11a and, at 2.4 GHz, 802.11g, in 20 MHz: clauses 17 and 18. */
export interface OfdmMode {
  readonly format: "ofdm";
  readonly rateBps: OfdmRateBps;
}

/** 802.11n: clause 19. The index holds the number of streams: 0 to 7 is one, 24 to 31 is four. */
export interface HtMode {
  readonly format: "ht";
  readonly mcs: number;
  readonly widthMhz: 20 | 40;
  readonly guardNs: 400 | 800;
  readonly coding: Coding;
  readonly isGreenfield?: boolean;
}

/** 802.11ac: clause 21. */
export interface VhtMode {
  readonly format: "vht";
  readonly mcs: number;
  readonly streams: number;
  readonly widthMhz: 20 | 40 | 80 | 160;
  readonly guardNs: 400 | 800;
  readonly coding: Coding;
}

/** 802.11ax, one station in the whole width: clause 27. */
export interface HeMode {
  readonly format: "he";
  readonly mcs: number;
  readonly streams: number;
  readonly widthMhz: 20 | 40 | 80 | 160;
  readonly guardNs: 800 | 1600 | 3200;
  readonly coding: Coding;
  /** Each bit on two subcarriers, which halves the rate. */
  readonly isDualCarrier?: boolean;
  /** Length of a training symbol in multiples of 3.2 us: 1, 2 or 4; absent: the one that goes with the guard interval. */
  readonly trainingFactor?: 1 | 2 | 4;
}

/** Binary convolutional or low-density parity-check. */
export type Coding = "bcc" | "ldpc";

export const DSSS_RATES_BPS = [1e6, 2e6, 5.5e6, 11e6] as const;
export type DsssRateBps = (typeof DSSS_RATES_BPS)[number];
export const OFDM_RATES_BPS = [6e6, 9e6, 12e6, 18e6, 24e6, 36e6, 48e6, 54e6] as const;
export type OfdmRateBps = (typeof OFDM_RATES_BPS)[number];

/** Bits on a subcarrier, and the share of them that is data, as numerator and denominator. */
interface Modulation {
  readonly bits: number;
  readonly codeRate: readonly [number, number];
}
const MODULATIONS: readonly Modulation[] = [
  { bits: 1, codeRate: [1, 2] },
  { bits: 2, codeRate: [1, 2] },
  { bits: 2, codeRate: [3, 4] },
  { bits: 4, codeRate: [1, 2] },
  { bits: 4, codeRate: [3, 4] },
  { bits: 6, codeRate: [2, 3] },
  { bits: 6, codeRate: [3, 4] },
  { bits: 6, codeRate: [5, 6] },
  { bits: 8, codeRate: [3, 4] },
  { bits: 8, codeRate: [5, 6] },
  { bits: 10, codeRate: [3, 4] },
  { bits: 10, codeRate: [5, 6] },
];

/** Data subcarriers: tables 19-6, 21-5 and 27-15. */
const VHT_SUBCARRIERS = { 20: 52, 40: 108, 80: 234, 160: 468 } as const;
const HE_SUBCARRIERS = { 20: 234, 40: 468, 80: 980, 160: 1960 } as const;

/** What one symbol of a mode with an MCS holds. */
export interface SymbolBits {
  readonly streams: number;
  readonly dataBits: number;
  readonly codedBits: number;
  readonly codeRate: readonly [number, number];
  /** Index of the modulation within one stream. */
  readonly modulation: number;
}

export function symbolBits(mode: HtMode | VhtMode | HeMode): SymbolBits {
  const streams = mode.format === "ht" ? Math.floor(mode.mcs / 8) + 1 : mode.streams;
  const modulation = mode.format === "ht" ? mode.mcs % 8 : mode.mcs;
  const { bits, codeRate } = MODULATIONS[modulation] as Modulation;
  const subcarriers = mode.format === "he" ? HE_SUBCARRIERS[mode.widthMhz] : VHT_SUBCARRIERS[mode.widthMhz];
  const carriers = mode.format === "he" && mode.isDualCarrier === true ? subcarriers / 2 : subcarriers;
  const codedBits = carriers * bits * streams;
  const dataBits = (codedBits * codeRate[0]) / codeRate[1];
  // Clause 27.5: HE rounds down, where HT and VHT leave out what is not whole.
  return { streams, dataBits: mode.format === "he" ? Math.floor(dataBits) : dataBits, codedBits, codeRate, modulation };
}

/** Length of one symbol with its guard interval, us. */
export const symbolUs = (mode: HtMode | VhtMode | HeMode): number =>
  (mode.format === "he" ? 12.8 : 3.2) + mode.guardNs / 1000;

/** What the standard calls the data rate of the mode, bit/s. */
export function phyRateBps(mode: PhyMode): number {
  if (mode.format === "dsss" || mode.format === "ofdm") return mode.rateBps;
  return (symbolBits(mode).dataBits / symbolUs(mode)) * 1e6;
}

/**
 * Convolutional encoders that share the work: clauses 19.3.5 and 21.5. One for each 320 Mbit/s (HT) and 540 Mbit/s (VHT) at
 * the long guard interval, with the exceptions of the tables of clause 21.5.
 */
export function encoders(mode: HtMode | VhtMode | HeMode): number {
  if (mode.format === "he" || mode.coding === "ldpc") return 1;
  const { dataBits, streams } = symbolBits(mode);
  if (mode.format === "ht") return Math.ceil(dataBits / 1280);
  return MORE_ENCODERS[`${mode.widthMhz} ${streams} ${mode.mcs}`] ?? Math.ceil(dataBits / 2160);
}
const MORE_ENCODERS: Readonly<Record<string, number>> = {
  "80 7 2": 3,
  "80 7 7": 6,
  "80 7 8": 6,
  "80 8 7": 6,
  "160 4 7": 6,
  "160 5 8": 8,
  "160 6 7": 8,
  "160 7 3": 4,
  "160 7 4": 6,
  "160 7 5": 7,
  "160 7 7": 9,
  "160 7 8": 12,
  "160 7 9": 12,
};

/** @returns why the standard has no such mode, as the end of a sentence; null if it has */
export function noSuchMode(mode: PhyMode): string | null {
  if (mode.format === "dsss" || mode.format === "ofdm") return null;
  const whole = (value: number, most: number): boolean => Number.isInteger(value) && value >= 0 && value <= most;
  const most = { ht: 31, vht: 9, he: 11 }[mode.format];
  if (!whole(mode.mcs, most)) return `has MCS 0 to ${most}`;
  if (mode.format === "ht") return null;
  if (mode.streams < 1 || !whole(mode.streams, 8)) return "has 1 to 8 streams";
  if (mode.format === "he") {
    const isBccTooMuch = mode.coding === "bcc" && (mode.widthMhz > 20 || mode.streams > 4 || mode.mcs > 9);
    return isBccTooMuch ? "codes with LDPC above 20 MHz, 4 streams or MCS 9" : null;
  }
  // Clause 21.5: each encoder's bits are whole, and so are the blocks that its puncturing works on.
  const { dataBits, codedBits, codeRate } = symbolBits(mode);
  const ofEncoder = codedBits / encoders({ ...mode, coding: "bcc" });
  const isWhole = Number.isInteger(dataBits) && Number.isInteger(ofEncoder) && ofEncoder % codeRate[1] === 0;
  return isWhole ? null : `has no MCS ${mode.mcs} with ${mode.streams} streams in ${mode.widthMhz} MHz`;
}

/** `12 Mbit/s`, `ax MCS 7, 2 streams, 80 MHz`. */
export function describePhyMode(mode: PhyMode): string {
  if (mode.format === "dsss" || mode.format === "ofdm") return `${mode.rateBps / 1e6} Mbit/s`;
  const { streams } = symbolBits(mode);
  const name = { ht: "n", vht: "ac", he: "ax" }[mode.format];
  const rate = phyRateBps(mode) / 1e6;

  return `802.11${name} MCS ${mode.mcs}, ${streams === 1 ? "1 stream" : `${streams} streams`}, ${mode.widthMhz} MHz (${Number(rate.toPrecision(4))} Mbit/s)`;
}
