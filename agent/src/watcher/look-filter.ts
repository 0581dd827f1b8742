import { groupKey, keptRangeOf } from "@dyetrace/wire/group-kinship";
import { parseIpAddress } from "@dyetrace/wire/ip-address";
import { assembleBpf, type BpfLine } from "../sockets/linux/bpf-program.ts";
import { MEMBERSHIP_LINES } from "./membership-filter.ts";
import { TEST_FRAME_BYTES } from "./watch-filter.ts";

/** Longest lists of groups that short jumps can reach over; with more, every multicast frame is let through. */
const MAX_LISTED_GROUPS = 100;
const ICMP = 1;

/**
 * What the watcher's packet socket lets through while it looks whether groups are in use: memberships (`MEMBERSHIP_LINES`),
 * and what anybody sends to these groups or their kin (`groupKinship`), this host's own programs too: on any port and by
 * any protocol but ICMP.
 */
export function lookFilter(groups: readonly string[]): ArrayBuffer {
  const parsed = groups.flatMap((text) => parseIpAddress(text) ?? []);
  const keysOf = (family: 4 | 6): number[] => [
    ...new Set(parsed.filter((one) => one.family === family).map(({ bytes }) => groupKey(bytes))),
  ];
  const isAnyKept = parsed.some((one) => keptRangeOf(one) !== null);
  const passing = (keys: readonly number[], label: string): BpfLine[] =>
    keys.length > MAX_LISTED_GROUPS || isAnyKept // what passes is sorted later
      ? [["ret", TEST_FRAME_BYTES]]
      : [...keys.map((key): BpfLine => ["jeq", key, label, null]), ["ret", 0], label, ["ret", TEST_FRAME_BYTES]];
  const lines: readonly BpfLine[] = [
    ...MEMBERSHIP_LINES,

    "other4",
    ["jeq", ICMP, "drop-4", null],
    ["ldb", 30],
    ["and", 0xf0],
    ["jeq", 0xe0, null, "drop-4"], // 224.0.0.0/4
    ["ldh", 20],
    ["jset", 0x1fff, "drop-4", "group4"], // later fragments have no ports, and the first was seen
    "drop-4",
    ["ret", 0],
    "group4",
    ["ldw", 30],
    ["and", 0x007fffff],
    ...passing(keysOf(4), "data4"),

    "other6",
    ["jeq", 44, null, "whole-packet6"],
    ["ldh", 56],
    ["jset", 0xfff8, "drop-6b", null],
    "whole-packet6",
    ["ldb", 38],
    ["jeq", 0xff, "group6", "drop-6b"], // ff00::/8
    "drop-6b",
    ["ret", 0],
    "group6",
    ["ldw", 50],
    ...passing(keysOf(6), "data6"),
  ];
  return assembleBpf(lines);
}
