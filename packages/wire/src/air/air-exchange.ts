import { type OfdmRateBps, type PhyMode, symbolBits } from "./phy-mode.ts";
import { ppduUs, type RadioBand } from "./ppdu-time.ts";

/**
 * What a station does around a frame: it waits, sends, and is answered. IEEE 802.11-2020, clause 10.3; slots and windows
 * from the tables of clauses 16.3.4, 17.4.4 and 18.4.5 (the short slot is assumed at 2.4 GHz, but for 802.11b alone).
 */
const BANDS = {
  "2.4 GHz": { slotUs: 9, sifsUs: 10 },
  "5 GHz": { slotUs: 9, sifsUs: 16 },
  "6 GHz": { slotUs: 9, sifsUs: 16 },
} as const;
const DSSS_SLOT_US = 20;
const CW_MIN = 15;
const DSSS_CW_MIN = 31;

/** Bytes with FCS: clauses 9.3.1.4 and 9.3.1.8 (compressed, 64 frames). */
export const ACK_BYTES = 14;
export const BLOCK_ACK_BYTES = 32;
const DELIMITER_BYTES = 4;

export const sifsUs = (band: RadioBand): number => BANDS[band].sifsUs;

const slotUs = (band: RadioBand, mode?: PhyMode): number =>
  mode?.format === "dsss" ? DSSS_SLOT_US : BANDS[band].slotUs;

/** Silence that a station waits for before its backoff: SIFS and two slots. */
export const difsUs = (band: RadioBand, mode?: PhyMode): number => BANDS[band].sifsUs + 2 * slotUs(band, mode);

/** Mean of a backoff drawn from 0 to CWmin slots. */
export const meanBackoffUs = (band: RadioBand, mode?: PhyMode): number =>
  ((mode?.format === "dsss" ? DSSS_CW_MIN : CW_MIN) / 2) * slotUs(band, mode);

/**
 * The mode of the answer: the highest mandatory rate that is not above the frame's own, or above what its modulation and
 * coding would be without HT (clause 10.6.6.5 and table 10-9).
 */
export function answerMode(mode: PhyMode): PhyMode {
  if (mode.format === "dsss") {
    return { format: "dsss", rateBps: mode.rateBps >= 2e6 ? 2e6 : 1e6, isShortPreamble: mode.isShortPreamble };
  }
  return { format: "ofdm", rateBps: mandatoryRate(mode.format === "ofdm" ? mode.rateBps : likeRate(mode)) };
}

const mandatoryRate = (rateBps: number): OfdmRateBps => (rateBps >= 24e6 ? 24e6 : rateBps >= 12e6 ? 12e6 : 6e6);

/** BPSK answers at 6, QPSK at 12, everything denser at 24 Mbit/s. */
const likeRate = (mode: Exclude<PhyMode, { format: "dsss" | "ofdm" }>): number => {
  const { modulation } = symbolBits(mode);
  return modulation === 0 ? 6e6 : modulation < 3 ? 12e6 : 24e6;
};

/** SIFS and the acknowledgement: of one frame, or of all of an A-MPDU. */
export function answerUs(mode: PhyMode, frames: number, band: RadioBand): number {
  const bytes = frames > 1 ? BLOCK_ACK_BYTES : ACK_BYTES;
  return sifsUs(band) + ppduUs(answerMode(mode), bytes, band);
}

/**
 * Bytes of the PSDU that carries these MAC frames. VHT and HE have a delimiter before a single frame, too (clause 10.12.7).
 * @param mpduBytes one size or more, FCS included
 */
export function psduBytes(mode: PhyMode, mpduBytes: readonly number[]): number {
  const isPlain = mpduBytes.length === 1 && mode.format !== "vht" && mode.format !== "he";
  if (isPlain) return mpduBytes[0] ?? 0;
  return mpduBytes.reduce((sum, bytes, at) => {
    const paddedBytes = at === mpduBytes.length - 1 ? bytes : Math.ceil(bytes / 4) * 4;
    return sum + DELIMITER_BYTES + paddedBytes;
  }, 0);
}
