import { IntervalReportSchema, parseAs } from "@dyetrace/wire";
import { joinWifiSights, MOST_WIFI_SIGHTS } from "@dyetrace/wire/station/join-wifi-sights";
import { decodeNetlink } from "@dyetrace/wire/station/netlink-message";
import { askFamily, askInterface, askStations, readFamily, readWifi } from "@dyetrace/wire/station/nl80211";
import type { WifiSight } from "@dyetrace/wire/station/wifi-sight-schema";
import { describe, expect, test } from "vitest";
import { type KernelLink, WifiWatch } from "../../agent/src/data-plane/wifi-watch.ts";
import { GenericNetlink } from "../../agent/src/sockets/linux/generic-netlink.ts";

/**
 * Messages byte by byte: struct nlmsghdr and nlattr of linux/netlink.h, struct genlmsghdr of linux/genetlink.h. The numbers of
 * nl80211 were printed by a C program that included linux/nl80211.h of Debian's linux-libc-dev 6.1.187.
 */
const le = (value: number, bytes: number): number[] =>
  Array.from(
    { length: bytes },
    (_, at) => Math.floor((value < 0 ? value + 2 ** (8 * bytes) : value) / 256 ** at) % 256,
  );
function attribute(type: number, value: readonly number[]): number[] {
  return [...le(4 + value.length, 2), ...le(type, 2), ...value, ...new Array((4 - (value.length % 4)) % 4).fill(0)];
}
function message(type: number, flags: number, sequence: number, body: readonly number[]): number[] {
  return [...le(16 + body.length, 4), ...le(type, 2), ...le(flags, 2), ...le(sequence, 4), ...le(0, 4), ...body];
}
const FAMILY = 28;
const generic = (command: number, ...attributes: readonly number[][]): number[] => [
  command,
  1,
  0,
  0,
  ...attributes.flat(),
];
const mac = (address: string): number[] => address.split(":").map((part) => Number.parseInt(part, 16));
const decode = (...messages: readonly number[][]) => decodeNetlink(Uint8Array.from(messages.flat()));

const NESTED = 0x8000; // NLA_F_NESTED
/** NEW_INTERFACE (7): IFINDEX 3, IFNAME 4, IFTYPE 5, WIPHY_FREQ 38, CHANNEL_WIDTH 159. */
const ofInterface = (type: number, mhz = 5180) =>
  message(
    FAMILY,
    0,
    2,
    generic(
      7,
      attribute(3, le(5, 4)),
      attribute(4, [119, 108, 0]),
      attribute(5, le(type, 4)),
      attribute(38, le(mhz, 4)),
      attribute(159, le(3, 4)),
    ),
  );
/** NEW_STATION (19) in a dump: MAC 6; STA_INFO 21 with signal 7, tx 8, retries 11, failed 12, rx 14; bit-rates 1 and 5. */
const ofStation = (bssid: string) =>
  message(
    FAMILY,
    2,
    3,
    generic(
      19,
      attribute(3, le(5, 4)),
      attribute(6, mac(bssid)),
      attribute(21 | NESTED, [
        ...attribute(7, le(-58, 1)),
        ...attribute(8 | NESTED, [...attribute(1, le(8667, 2)), ...attribute(5, le(8667, 4))]),
        ...attribute(11, le(41, 4)),
        ...attribute(12, le(2, 4)),
        ...attribute(14 | NESTED, attribute(5, le(5850, 4))),
      ]),
    ),
  );
const done = message(3, 2, 3, le(0, 4));
const HALL = "02:00:5e:10:00:01";
const LOFT = "02:00:5e:10:00:02";

test("netlink: given questions, then their bytes are those of the kernel's headers", () => {
  // CTRL_CMD_GETFAMILY 3 to GENL_ID_CTRL 16, NLM_F_REQUEST 1, CTRL_ATTR_FAMILY_NAME 2.
  const name = attribute(2, [..."nl80211"].map((letter) => letter.charCodeAt(0)).concat(0));
  expect([...new Uint8Array(askFamily(9))]).toEqual(message(16, 1, 9, generic(3, name)));
  const body = (command: number) => [command, 0, 0, 0, ...attribute(3, le(5, 4))];
  expect([...new Uint8Array(askInterface(FAMILY, 2, 5))]).toEqual(message(FAMILY, 1, 2, body(5)));
  expect([...new Uint8Array(askStations(FAMILY, 3, 5))]).toEqual(message(FAMILY, 0x301, 3, body(17))); // NLM_F_DUMP
});

test("nl80211: given a station with its access point, then BSSID, channel, width, signal, rates and retries", () => {
  const answers = decode(message(16, 0, 1, generic(1, attribute(1, le(FAMILY, 2)), attribute(2, [110, 0]))));
  expect(readFamily(answers)).toBe(FAMILY);
  expect(readWifi(decode(ofInterface(2)), decode(ofStation(HALL), done))).toEqual({
    bssid: HALL,
    frequencyMhz: 5180,
    widthMhz: 80,
    signalDbm: -58,
    txRateBps: 866.7e6,
    rxRateBps: 585e6,
    txRetries: 41,
    txFailed: 2,
  });
});

test("nl80211: given no access point, another kind of interface or an error, then nothing is made up", () => {
  expect(readWifi(decode(ofInterface(2)), decode(done))).toMatchObject({
    bssid: null,
    signalDbm: null,
    frequencyMhz: null,
  });
  expect(readWifi(decode(ofInterface(3)), decode(ofStation(HALL), done))).toBeNull(); // NL80211_IFTYPE_AP
  expect(readWifi(decode(message(2, 0, 2, le(-19, 4))), [])).toBeNull(); // ENODEV
  expect(readFamily(decode(message(2, 0, 1, le(-2, 4))))).toBeNull(); // ENOENT
});

test("netlink: given any piece of a message, then it ends without an error", () => {
  const whole = [...ofInterface(2), ...ofStation(HALL), ...done];
  for (let length = 0; length <= whole.length; length++) {
    const answers = decodeNetlink(Uint8Array.from(whole.slice(0, length)));
    expect(answers.length).toBeLessThanOrEqual(3);
    readWifi(answers, answers);
  }
});

/** A kernel that has nl80211: what the tested one lacks. */
class FakeKernel implements KernelLink {
  bssid: string | null = HALL;
  isOpen = true;
  ask(request: ArrayBuffer, sequence: number) {
    const command = new DataView(request).getUint8(16);
    expect(new DataView(request).getUint32(8, true)).toBe(sequence);
    if (command === 3) return decode(message(16, 0, sequence, generic(1, attribute(1, le(FAMILY, 2)))));
    if (command === 5) return decode(ofInterface(2));
    return this.bssid === null ? decode(done) : decode(ofStation(this.bssid), done);
  }
  close(): void {
    this.isOpen = false;
  }
}

describe("WifiWatch", () => {
  test("given a roam, then it is told at once, and what only wavers every ten seconds", () => {
    const kernel = new FakeKernel();
    const watch = WifiWatch.open(5, () => kernel);
    const told = (second: number) => watch?.since(second * 1e9).map(({ atNs, bssid }) => [atNs / 1e9, bssid]);
    expect(told(1)).toEqual([[1, HALL]]);
    expect(told(2)).toEqual([]);
    kernel.bssid = null;
    expect(told(3)).toEqual([[3, null]]);
    kernel.bssid = LOFT;
    expect(told(4)).toEqual([[4, LOFT]]);
    expect(told(13)).toEqual([]);
    expect(told(14)).toEqual([[14, LOFT]]);
    watch?.restart();
    expect(told(1)).toEqual([[1, LOFT]]);
    watch?.close();
    expect(kernel.isOpen).toBe(false);
  });

  test("given the kernel of this machine, then a family that each has is found, and without nl80211 the place is not known", () => {
    const link = new GenericNetlink();
    try {
      expect(readFamily(link.ask(askFamily(7, "nlctrl"), 7))).toBe(16); // GENL_ID_CTRL, linux/genetlink.h
      expect(link.ask(askFamily(8, "dyetrace-none"), 8)).toEqual([{ kind: "error", sequence: 8, errno: 2 }]); // ENOENT
    } finally {
      link.close();
    }
    expect(WifiWatch.open(1)).toBeNull(); // loopback is no station, whatever the kernel has
  });
});

test("joinWifiSights: given more sights than a report holds, then each move and the last one stay", () => {
  const sight = (second: number, bssid: string): WifiSight => ({
    atNs: second * 1e9,
    bssid,
    frequencyMhz: 5180,
    widthMhz: null,
    signalDbm: -50,
    txRateBps: null,
    rxRateBps: null,
    txRetries: null,
    txFailed: null,
  });
  const all = Array.from({ length: 200 }, (_, second) => sight(second, second < 60 ? HALL : LOFT));
  const joined = joinWifiSights(all.slice(0, 100), all.slice(100));
  expect(joined).toHaveLength(MOST_WIFI_SIGHTS);
  expect(joined.map(({ atNs }) => atNs / 1e9)).toEqual(expect.arrayContaining([0, 60, 199]));
  const report = { fromNs: 0, toNs: 1e9, listeners: [], senders: [], sourcesStopped: null, totals: null, wifi: joined };
  const host = Object.fromEntries(
    Object.keys(IntervalReportSchema.properties.host.properties).map((name) => [name, null]),
  );
  expect(parseAs(IntervalReportSchema, { ...report, host }, "MESSAGE_INVALID", "The report").wifi).toHaveLength(64);
});
