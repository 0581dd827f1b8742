import { expect, test } from "vitest";
import { groupKinship, keptRangeOf } from "./group-kinship.ts";
import { groupMac, type IpAddress, parseIpAddress } from "./ip-address.ts";

const address = (text: string): IpAddress => {
  const parsed = parseIpAddress(text);
  if (parsed === null) throw new Error(text);
  return parsed;
};
const kinship = (a: string, b: string) => groupKinship(address(a), address(b));

test("groupKinship: given the 32 IPv4 groups of one Ethernet address, then each is kin of each, and the next address is not", () => {
  // RFC 1112 section 6.4: the low-order 23 bits go into 01-00-5E-00-00-00, so 32 groups have one address.
  const all = Array.from({ length: 32 }, (_, i) => `${224 + (i >> 1)}.${67 + 128 * (i & 1)}.10.4`);
  expect(new Set(all.map((one) => groupMac(address(one))))).toEqual(new Set(["01:00:5e:43:0a:04"]));
  for (const one of all) expect(kinship("239.195.10.4", one)).toBe(one === "239.195.10.4" ? "same" : "same-mac");
  expect(kinship("239.195.10.4", "239.195.10.5")).toBeNull();
  expect(kinship("239.195.10.4", "239.194.10.4")).toBeNull();
});

test("groupKinship: given IPv6 groups, then the last 32 bits decide", () => {
  // RFC 2464 section 7: 33-33 and the last four octets.
  expect(kinship("ff15::8000:4", "ff38:aa::8000:4")).toBe("same-mac");
  expect(kinship("ff15::8000:4", "ff15::8000:4")).toBe("same");
  expect(kinship("ff15::8000:4", "ff15::8000:5")).toBeNull();
  expect(kinship("ff15::ff43:a04", "239.195.10.4")).toBeNull();
});

test("groupKinship: given a range that clocks or audio devices keep to, then a free group of it is kin of one in use", () => {
  expect(kinship("239.69.3.7", "239.69.81.4")).toBe("same-range");
  expect(kinship("239.70.3.7", "239.69.81.4")).toBeNull();
  expect(kinship("224.0.1.129", "224.0.1.132")).toBe("same-range");
  expect(kinship("239.128.1.129", "224.0.1.129")).toBe("same-mac");
  expect([keptRangeOf(address("224.0.1.133")), keptRangeOf(address("239.69.0.1"))?.name]).toEqual([
    null,
    "239.69.0.0/16",
  ]);
});
