import { decodeAttributes, encodeNetlink, type NetlinkAnswer } from "./netlink-message.ts";
import type { WifiFacts } from "./wifi-sight-schema.ts";

/**
 * What the kernel is asked about a Wi-Fi interface. Numbers are those of linux/nl80211.h and linux/genetlink.h (Debian's
 * linux-libc-dev 6.1), where they never change.
 */
const CONTROLLER = 16; // GENL_ID_CTRL
const GET_FAMILY = 3; // CTRL_CMD_GETFAMILY
const FAMILY_ID = 1; // CTRL_ATTR_FAMILY_ID
const FAMILY_NAME = 2; // CTRL_ATTR_FAMILY_NAME
const GET_INTERFACE = 5; // NL80211_CMD_GET_INTERFACE
const GET_STATION = 17; // NL80211_CMD_GET_STATION
const [IFINDEX, IFTYPE, MAC, STATION_INFO, FREQUENCY, CHANNEL_WIDTH] = [3, 5, 6, 21, 38, 159]; // NL80211_ATTR_*
const TYPE_STATION = 2; // NL80211_IFTYPE_STATION
const [SIGNAL, TX_BITRATE, TX_RETRIES, TX_FAILED, RX_BITRATE] = [7, 8, 11, 12, 14]; // NL80211_STA_INFO_*
const [BITRATE, BITRATE32] = [1, 5]; // NL80211_RATE_INFO_*
/** NL80211_CHAN_WIDTH_*: 20 without HT, 20, 40, 80, 80 and 80, 160; 5, 10; 320. */
const WIDTHS_MHZ: Readonly<Record<number, number>> = {
  0: 20,
  1: 20,
  2: 40,
  3: 80,
  4: 160,
  5: 160,
  6: 5,
  7: 10,
  13: 320,
};

const u32 = (value: number): Uint8Array => {
  const bytes = new Uint8Array(4);
  new DataView(bytes.buffer).setUint32(0, value, true);
  return bytes;
};

/** Asks which number the kernel has given to a family. */
export const askFamily = (sequence: number, name = "nl80211"): ArrayBuffer =>
  encodeNetlink({
    type: CONTROLLER,
    command: GET_FAMILY,
    version: 1,
    sequence,
    isDump: false,
    attributes: [[FAMILY_NAME, Uint8Array.from([...`${name}\0`].map((letter) => letter.charCodeAt(0)))]],
  });

/** @returns null where the kernel has no such family, or did not say */
export function readFamily(answers: readonly NetlinkAnswer[]): number | null {
  return firstNumber(answers, FAMILY_ID);
}

export const askInterface = (family: number, sequence: number, index: number): ArrayBuffer =>
  encodeNetlink({
    type: family,
    command: GET_INTERFACE,
    version: 0,
    sequence,
    isDump: false,
    attributes: [[IFINDEX, u32(index)]],
  });

/** Of an interface that is a station the only entry is its access point. */
export const askStations = (family: number, sequence: number, index: number): ArrayBuffer =>
  encodeNetlink({
    type: family,
    command: GET_STATION,
    version: 0,
    sequence,
    isDump: true,
    attributes: [[IFINDEX, u32(index)]],
  });

/** @returns null where the interface is no station of a Wi-Fi network */
export function readWifi(
  ofInterface: readonly NetlinkAnswer[],
  ofStations: readonly NetlinkAnswer[],
): WifiFacts | null {
  if (firstNumber(ofInterface, IFTYPE) !== TYPE_STATION) return null;
  const station = ofStations.find((answer) => answer.kind === "message");
  const mac = station?.attributes.get(MAC);
  if (station === undefined || mac?.byteLength !== 6) return { ...AT_NONE };
  const info = decodeAttributes(station.attributes.get(STATION_INFO) ?? new Uint8Array());
  const signal = info.get(SIGNAL);
  const width = firstNumber(ofInterface, CHANNEL_WIDTH);
  return {
    bssid: [...mac].map((byte) => byte.toString(16).padStart(2, "0")).join(":"),
    frequencyMhz: firstNumber(ofInterface, FREQUENCY),
    widthMhz: width === null ? null : (WIDTHS_MHZ[width] ?? null),
    signalDbm: signal?.byteLength === 1 ? new DataView(signal.buffer, signal.byteOffset).getInt8(0) : null,
    txRateBps: rateOf(info.get(TX_BITRATE)),
    rxRateBps: rateOf(info.get(RX_BITRATE)),
    txRetries: numberOf(info.get(TX_RETRIES)),
    txFailed: numberOf(info.get(TX_FAILED)),
  };
}

const AT_NONE: WifiFacts = {
  bssid: null,
  frequencyMhz: null,
  widthMhz: null,
  signalDbm: null,
  txRateBps: null,
  rxRateBps: null,
  txRetries: null,
  txFailed: null,
};

/** Of two or four bytes. */
function numberOf(value: Uint8Array | undefined): number | null {
  if (value === undefined) return null;
  const view = new DataView(value.buffer, value.byteOffset, value.byteLength);
  if (value.byteLength === 2) return view.getUint16(0, true);
  return value.byteLength === 4 ? view.getUint32(0, true) : null;
}

/** In 100 kbit/s; the shorter field is 0 above 6.5 Gbit/s. */
function rateOf(nested: Uint8Array | undefined): number | null {
  if (nested === undefined) return null;
  const rate = decodeAttributes(nested);
  const hundredKbps = numberOf(rate.get(BITRATE32)) ?? numberOf(rate.get(BITRATE));
  return hundredKbps === null || hundredKbps === 0 ? null : hundredKbps * 100_000;
}

function firstNumber(answers: readonly NetlinkAnswer[], attribute: number): number | null {
  const message = answers.find((answer) => answer.kind === "message");
  return numberOf(message?.attributes.get(attribute));
}
