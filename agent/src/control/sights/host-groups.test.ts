import { expect, test } from "vitest";
import { readIgmp, readIgmp6 } from "./host-groups.ts";

/** As the kernel of this kind of machine prints them (net/ipv4/igmp.c, net/ipv6/mcast.c), little-endian. */
const IGMP = `Idx\tDevice    : Count Querier\tGroup    Users Timer\tReporter
1\tlo        :     1      V3
\t\t\t\t010000E0     1 0:00000000\t\t0
2\teth0      :     2      V3
\t\t\t\t040AC3EF     1 0:00000000\t\t0
\t\t\t\t010000E0     1 0:00000000\t\t0
`;
const IGMP6 = `1    lo              ff020000000000000000000000000001     1 0000000C 0
2    eth0            ff15000000000000000000000000db01     2 00000004 0
2    eth0            ff020000000000000000000000000001     1 0000000C 0
`;

test("readIgmp: given several interfaces, then the groups of one are read, in the order of their bytes", () => {
  expect(readIgmp(IGMP, "eth0")).toEqual(["239.195.10.4", "224.0.0.1"]);
  expect(readIgmp(IGMP, "eth1")).toEqual([]);
});

test("readIgmp6: given several interfaces, then the groups of one are read", () => {
  expect(readIgmp6(IGMP6, "eth0")).toEqual(["ff15::db01", "ff02::1"]);
});
