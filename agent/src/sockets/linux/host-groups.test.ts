import { expect, test } from "vitest";
import { readIgmp, readIgmp6, readSourceFilters } from "./host-groups.ts";

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

/** As this kind of machine's kernel prints them (net/ipv4/igmp.c, net/ipv6/mcast.c), after joins from one source each. */
const FILTER = `Idx Device        MCA        SRC    INC    EXC
  3     e0 0xe8010107 0x0a090905      1      0
`;
const FILTER6 = `Idx Device                Multicast Address                   Source Address    INC    EXC
  3     e0 ff3e0000000000000000000000000077 20010db8000000000000000000000005      1      0
`;

test("readSourceFilters: given joins from one source, then the source stands by its group, on that interface alone", () => {
  const read = readSourceFilters(FILTER, FILTER6, "e0");
  expect([...(read.get("232.1.1.7") ?? [])]).toEqual(["10.9.9.5"]);
  expect([...(read.get("ff3e::77") ?? [])]).toEqual(["2001:db8::5"]);
  expect(readSourceFilters(FILTER, FILTER6, "e1").size).toBe(0);
});
