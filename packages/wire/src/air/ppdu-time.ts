import { encoders, type HeMode, type HtMode, type PhyMode, symbolBits, symbolUs, type VhtMode } from "./phy-mode.ts";

export type RadioBand = "2.4 GHz" | "5 GHz" | "6 GHz";

const SERVICE_BITS = 16;
const TAIL_BITS = 6;
const OFDM_SYMBOL_US = 4;
/** L-STF, L-LTF and L-SIG (clause 17): every format but 802.11b and HT greenfield begins with them. */
const LEGACY_PREAMBLE_US = 8 + 8 + 4;
/** At 2.4 GHz each OFDM frame is followed by 6 us of silence (clauses 18.3.2.4, 19.3.2, 27.3.14). */
const SIGNAL_EXTENSION_US = 6;
/** Training symbols for 1 to 8 streams: tables 19-13, 21-13. */
const TRAINING_SYMBOLS = [1, 2, 4, 4, 6, 6, 8, 8] as const;

/**
 * Time that one PPDU takes on the air.
 * @param psduBytes MAC header and FCS included; of an A-MPDU all subframes with their delimiters
 * @returns us. Of HE without packet extension and of LDPC without the extra symbol that it may need: the least it can be
 * @see IEEE 802.11-2020, clauses 16.3.4 (802.11b), 17.4.3 (a, g), 19.4.3 (n), 21.4.3 (ac); IEEE 802.11ax-2021, 27.4.3
 */
export function ppduUs(mode: PhyMode, psduBytes: number, band: RadioBand): number {
  const extensionUs = band === "2.4 GHz" ? SIGNAL_EXTENSION_US : 0;
  switch (mode.format) {
    case "dsss": {
      const isShort = mode.isShortPreamble && mode.rateBps > 1e6;
      return (isShort ? 72 + 24 : 144 + 48) + Math.ceil((8 * psduBytes) / (mode.rateBps / 1e6));
    }
    case "ofdm": {
      const bitsPerSymbol = (mode.rateBps / 1e6) * OFDM_SYMBOL_US;
      const symbols = Math.ceil((SERVICE_BITS + 8 * psduBytes + TAIL_BITS) / bitsPerSymbol);
      return LEGACY_PREAMBLE_US + OFDM_SYMBOL_US * symbols + extensionUs;
    }
    case "ht":
      return htPreambleUs(mode) + dataUs(mode, psduBytes, mode.isGreenfield !== true) + extensionUs;
    case "vht":
      // VHT-SIG-A, VHT-STF, training, VHT-SIG-B
      return LEGACY_PREAMBLE_US + 8 + 4 + 4 * training(mode) + 4 + dataUs(mode, psduBytes, true) + extensionUs;
    case "he":
      // RL-SIG, HE-SIG-A, HE-STF, training
      return (
        LEGACY_PREAMBLE_US +
        4 +
        8 +
        4 +
        heTrainingUs(mode) * training(mode) +
        dataUs(mode, psduBytes, false) +
        extensionUs
      );
  }
}

const training = (mode: HtMode | VhtMode | HeMode): number => TRAINING_SYMBOLS[symbolBits(mode).streams - 1] ?? 8;

/** Mixed: HT-SIG, HT-STF, training; greenfield: HT-GF-STF, HT-LTF1 of 8 us, HT-SIG, further training. */
const htPreambleUs = (mode: HtMode): number =>
  mode.isGreenfield === true ? 8 + 8 + 8 + 4 * (training(mode) - 1) : LEGACY_PREAMBLE_US + 8 + 4 + 4 * training(mode);

/** 6.4 us with the two short guard intervals and 12.8 us with the long one are the usual pairs. */
const heTrainingUs = ({ guardNs, trainingFactor }: HeMode): number =>
  3.2 * (trainingFactor ?? (guardNs === 3200 ? 4 : 2)) + guardNs / 1000;

/** Number of symbols that hold the data: equations 19-32, 21-62, 27-91 with one stream's worth at a time (no STBC). */
export function dataSymbols(mode: HtMode | VhtMode | HeMode, psduBytes: number): number {
  const tailBits = mode.coding === "ldpc" ? 0 : TAIL_BITS * encoders(mode);
  return Math.max(1, Math.ceil((SERVICE_BITS + 8 * psduBytes + tailBits) / symbolBits(mode).dataBits));
}

/** With the short guard interval of HT and VHT the PPDU ends on a whole symbol of 4 us. */
function dataUs(mode: HtMode | VhtMode | HeMode, psduBytes: number, isRounded: boolean): number {
  const us = dataSymbols(mode, psduBytes) * symbolUs(mode);
  // Products of 3.6 are not exact: what is whole to a nanosecond is not rounded up.
  const exactUs = Math.round(us * 1000) / 1000;
  return isRounded ? Math.ceil(exactUs / OFDM_SYMBOL_US) * OFDM_SYMBOL_US : exactUs;
}
