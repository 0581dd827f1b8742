import { type DataPath, type FileMistakes, parseDurationNs, parseRateBps, type SitePlanRadio } from "@dyetrace/wire";
import {
  DSSS_RATES_BPS,
  type HeMode,
  noSuchMode,
  OFDM_RATES_BPS,
  type PhyMode,
  type VhtMode,
} from "@dyetrace/wire/air/phy-mode";
import type { NodeKind, SiteRadio } from "../model/site-model.ts";

/** Keys that say what an access point does with group frames. */
const OF_ACCESS_POINT = ["band", "channel", "multicast-rate", "encrypted", "conversion", "dtim"] as const;
/** Keys that make one mode of n, ac and ax. */
const OF_MCS = ["mcs", "streams", "channel-width", "guard-interval", "aggregate"] as const;

/** @returns null with a mistake added where the keys make no radio */
export function readRadio(
  radio: SitePlanRadio,
  kind: NodeKind,
  path: DataPath,
  mistakes: FileMistakes,
): SiteRadio | null {
  if (kind !== "access-point" && kind !== "host") {
    const hint = "Remove it, or make the node an access-point or a host";
    mistakes.add(path, `Only access points and hosts have a radio, and this is of kind ${kind}`, hint, "key");
    return null;
  }
  const strange = kind === "host" ? OF_ACCESS_POINT.find((key) => radio[key] !== undefined) : undefined;
  if (strange !== undefined) {
    mistakes.add([...path, strange], `"${strange}" is for an access point to say`, "Move it there", "key");
    return null;
  }
  const rateText = radio["multicast-rate"];
  const multicastMode =
    rateText === undefined
      ? null
      : mistakes.attempt([...path, "multicast-rate"], () => rateMode(rateText, path, mistakes));
  if (multicastMode?.format === "dsss" && radio.band !== "2.4 GHz") {
    const hint = 'Write band: "2.4 GHz", or 6 Mbit/s and more';
    mistakes.add([...path, "multicast-rate"], `${rateText} is a rate of 802.11b, which is at 2.4 GHz only`, hint);
  }
  const width = Number.parseInt(radio["channel-width"] ?? "20 MHz", 10);
  if (radio.band === "2.4 GHz" && (radio.standard === "a" || radio.standard === "ac" || width > 40)) {
    const what = width > 40 ? `no ${width} MHz` : `no 802.11${radio.standard}`;
    mistakes.add([...path, "band"], `At 2.4 GHz there is ${what}`, "Write another band, or what is there", "key");
  }
  return {
    band: radio.band ?? null,
    channel: radio.channel ?? null,
    multicastMode,
    isEncrypted: radio.encrypted ?? null,
    isConverting: radio.conversion ?? null,
    dtim: radio.dtim ?? null,
    stationMode: readStationMode(radio, path, mistakes),
    aggregatedFrames: radio.aggregate ?? null,
  };
}

/** A rate of 802.11b, a or g. @throws {Fault} UNIT_INVALID */
function rateMode(text: string, path: DataPath, mistakes: FileMistakes, key = "multicast-rate"): PhyMode | null {
  const mode = modeOfRate(parseRateBps(text));
  if (mode !== null) return mode;
  const hint =
    key === "rate"
      ? "Write 54 Mbit/s or less, or for more: standard, channel-width, mcs and streams"
      : "Group frames go out at a basic rate: write one of 1, 2, 5.5, 6, 9, 11, 12, 18, 24, 36, 48, 54 Mbit/s";
  mistakes.add([...path, key], `${text} is no rate of 802.11a, b or g`, hint);
  return null;
}

/** @returns null for a rate that no mode of 802.11a, b and g has */
export function modeOfRate(wantedBps: number): PhyMode | null {
  const ofdm = OFDM_RATES_BPS.find((rateBps) => rateBps === wantedBps);
  if (ofdm !== undefined) return { format: "ofdm", rateBps: ofdm };
  const dsss = DSSS_RATES_BPS.find((rateBps) => rateBps === wantedBps);
  return dsss === undefined ? null : { format: "dsss", rateBps: dsss, isShortPreamble: false };
}

function readStationMode(radio: SitePlanRadio, path: DataPath, mistakes: FileMistakes): PhyMode | null {
  const { standard } = radio;
  const ofMcs = OF_MCS.find((key) => radio[key] !== undefined);
  if (standard === undefined) {
    const orphan = ofMcs ?? (radio.rate === undefined ? undefined : "rate");
    if (orphan !== undefined) {
      const hint = "Add standard: a, b, g, n, ac or ax";
      mistakes.add([...path, orphan], `"${orphan}" means nothing without the standard`, hint, "key");
    }
    return null;
  }
  if (standard === "a" || standard === "b" || standard === "g") {
    if (ofMcs !== undefined) {
      mistakes.add([...path, ofMcs], `802.11${standard} has no ${ofMcs}`, "Write rate: 54 Mbit/s or less", "key");
    }
    const { rate } = radio;
    if (rate === undefined) {
      mistakes.add([...path, "standard"], `802.11${standard} is given without a rate`, "Add rate: such as 24 Mbit/s");
      return null;
    }
    const mode = mistakes.attempt([...path, "rate"], () => rateMode(rate, path, mistakes, "rate"));
    if (mode === null) return null;
    const isOfStandard = standard === "g" || (standard === "b") === (mode.format === "dsss");
    if (!isOfStandard)
      mistakes.add([...path, "rate"], `802.11${standard} has no rate of ${rate}`, "Write another rate");
    return mode;
  }
  if (radio.rate !== undefined) {
    const hint = "Write mcs, streams and channel-width instead: the rate follows from them";
    mistakes.add([...path, "rate"], `802.11${standard} has no rates by name`, hint, "key");
  }
  if (radio.mcs === undefined) {
    const hint = "Add mcs: such as 7 (or 4 for a station that is far away)";
    mistakes.add([...path, "standard"], `802.11${standard} is given without an MCS`, hint);
    return null;
  }
  return mcsMode(radio, radio.mcs, standard, path, mistakes);
}

type McsStandard = "n" | "ac" | "ax";
const GUARDS_NS = { n: [400, 800], ac: [400, 800], ax: [800, 1600, 3200] } as const;
const WIDTHS_MHZ = { n: [20, 40], ac: [20, 40, 80, 160], ax: [20, 40, 80, 160] } as const;

function mcsMode(
  radio: SitePlanRadio,
  mcs: number,
  standard: McsStandard,
  path: DataPath,
  mistakes: FileMistakes,
): PhyMode | null {
  const widthMhz = Number.parseInt(radio["channel-width"] ?? "20 MHz", 10);
  const guardText = radio["guard-interval"] ?? "800 ns";
  const guardNs = mistakes.attempt([...path, "guard-interval"], () => parseDurationNs(guardText));
  if (!WIDTHS_MHZ[standard].some((one) => one === widthMhz)) {
    mistakes.add([...path, "channel-width"], `802.11n has no ${widthMhz} MHz`, "Write 20 MHz or 40 MHz");
    return null;
  }
  if (!GUARDS_NS[standard].some((one) => one === guardNs)) {
    const known = GUARDS_NS[standard].map((one) => `${one} ns`).join(" or ");
    mistakes.add([...path, "guard-interval"], `802.11${standard} has no ${guardText}`, `Write ${known}`);
    return null;
  }
  if (standard === "n" && mcs > 7 && radio.streams !== undefined && radio.streams !== Math.floor(mcs / 8) + 1) {
    const hint = `Leave "streams" out, or write an MCS from 0 to 7 beside it`;
    mistakes.add([...path, "streams"], `MCS ${mcs} of 802.11n has ${Math.floor(mcs / 8) + 1} streams`, hint);
    return null;
  }
  const mode = makeMcsMode(standard, mcs, radio.streams, widthMhz, guardNs ?? 800);
  const why = noSuchMode(mode);
  if (why === null) return mode;
  mistakes.add([...path, "mcs"], `802.11${standard} ${why}`, "Write another MCS, width or number of streams");
  return null;
}

/** Coding as is usual: LDPC where the standard asks for it. Width and guard interval are checked by the caller. */
export function makeMcsMode(
  standard: McsStandard,
  mcs: number,
  streams: number | undefined,
  widthMhz: number,
  guardNs: number,
): PhyMode {
  if (standard === "n") {
    // Of 802.11n the index says the streams; whoever counts per stream as with ac may do so here.
    const index = mcs < 8 && streams !== undefined ? (streams - 1) * 8 + mcs : mcs;
    return { format: "ht", mcs: index, widthMhz: widthMhz as 20 | 40, guardNs: guardNs as 400 | 800, coding: "bcc" };
  }
  const shared = { mcs, streams: streams ?? 1, widthMhz: widthMhz as VhtMode["widthMhz"] };
  if (standard === "ac") return { format: "vht", ...shared, guardNs: guardNs as 400 | 800, coding: "bcc" };
  const isLdpc = widthMhz > 20 || shared.streams > 4 || mcs > 9;
  return { format: "he", ...shared, guardNs: guardNs as HeMode["guardNs"], coding: isLdpc ? "ldpc" : "bcc" };
}
