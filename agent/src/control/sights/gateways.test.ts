import { expect, test } from "vitest";
import { readArp, readRoutes } from "./gateways.ts";

// As Linux 6.1 writes them (little-endian); addresses changed.
const ROUTES = `Iface	Destination	Gateway 	Flags	RefCnt	Use	Metric	Mask		MTU	Window	IRTT
eth0	00000000	010200C0	0003	0	0	0	00000000	0	0	0
eth0	000200C0	00000000	0001	0	0	0	00FFFFFF	0	0	0
eth1	00000000	FE0200C0	0003	0	0	100	00000000	0	0	0
`;
const ARP = `IP address       HW type     Flags       HW address            Mask     Device
192.0.2.1        0x1         0x2         02:00:5e:10:00:01     *        eth0
192.0.2.9        0x1         0x0         00:00:00:00:00:00     *        eth0
192.0.2.254      0x1         0x2         02:00:5e:10:00:fe     *        eth1
`;

test("gateways: given the kernel's tables, then those of this interface, with the Ethernet addresses that are known", () => {
  expect(readRoutes(ROUTES, "eth0")).toEqual(["192.0.2.1"]);
  expect([...readArp(ARP, "eth0")]).toEqual([["192.0.2.1", "02:00:5e:10:00:01"]]);
  expect([readRoutes("", "eth0"), [...readArp("garbage\n\n", "eth0")]]).toEqual([[], []]);
});
