import { parseIpAddress } from "@dyetrace/wire";
import { expect, test } from "vitest";
import { addressInSubnet, doSubnetsOverlap, isInSubnet, parseSubnet, type Subnet } from "./subnet.ts";

const subnet = (text: string): Subnet => {
  const parsed = parseSubnet(text);
  if (parsed === null) throw new Error(`${text} is no subnet`);
  return parsed;
};
const isIn = (text: string, address: string): boolean => {
  const parsed = parseIpAddress(address);
  return parsed !== null && isInSubnet(subnet(text), parsed);
};

// Prefixes as RFC 4632 section 3.1 and RFC 4291 section 2.3 have them; the figures by hand.
test("parseSubnet: given an address with bits beyond the prefix, or a prefix too long, then it is none", () => {
  for (const text of ["192.0.2.1/24", "192.0.2.0/33", "2001:db8::1/64", "192.0.2.0", "192.0.2.0/-1", "192.0.2.0/024"])
    expect([text, parseSubnet(text)]).toEqual([text, null]);
  expect(subnet("192.0.2.128/25").prefixBits).toBe(25);
  expect(subnet("0.0.0.0/0").prefixBits).toBe(0);
});

test("isInSubnet: given addresses at the edges, then the prefix alone decides", () => {
  expect([isIn("192.0.2.128/25", "192.0.2.127"), isIn("192.0.2.128/25", "192.0.2.128")]).toEqual([false, true]);
  expect([isIn("2001:db8:10::/60", "2001:db8:10:f::1"), isIn("2001:db8:10::/60", "2001:db8:10:10::1")]).toEqual([
    true,
    false,
  ]);
  expect(isIn("192.0.2.0/24", "2001:db8::1")).toBe(false);
});

test("addressInSubnet: given numbers up to the end, then addresses, and none for the broadcast address or beyond", () => {
  const small = subnet("192.0.2.128/30");
  expect([1, 2, 3, 4].map((number) => addressInSubnet(small, number))).toEqual([
    "192.0.2.129",
    "192.0.2.130",
    null,
    null,
  ]);
  expect(addressInSubnet(subnet("192.0.2.0/23"), 256)).toBe("192.0.3.0");
  expect(addressInSubnet(subnet("2001:db8::/64"), 65_536)).toBe("2001:db8::1:0");
});

test("doSubnetsOverlap: given one inside the other or beside it, then whichever comes first", () => {
  const [wide, narrow, beside] = [subnet("192.0.2.0/24"), subnet("192.0.2.64/26"), subnet("192.0.3.0/24")];
  expect([doSubnetsOverlap(wide, narrow), doSubnetsOverlap(narrow, wide), doSubnetsOverlap(wide, beside)]).toEqual([
    true,
    true,
    false,
  ]);
});
