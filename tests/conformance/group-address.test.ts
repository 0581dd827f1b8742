import { lintGroups } from "@dyetrace/site";
import { groupMac, isSourceSpecific, parseIpAddress } from "@dyetrace/wire";
import fc from "fast-check";
import { expect, test } from "vitest";

function address(text: string) {
  const parsed = parseIpAddress(text);
  if (parsed === null) throw new Error(`${text} is not an address`);
  return parsed;
}
const macOf = (group: string): string => groupMac(address(group));

// Marked "computed": worked out from the rule of the RFC named, by hand.
test.each([
  // RFC 1112 section 6.4: the low 23 bits go into the low 23 bits of 01-00-5E-00-00-00.
  ["224.0.0.1", "01:00:5e:00:00:01"], // computed
  ["224.0.0.22", "01:00:5e:00:00:16"], // computed
  ["224.0.0.251", "01:00:5e:00:00:fb"], // computed
  ["224.0.1.129", "01:00:5e:00:01:81"], // computed: only octet 2 loses its top bit
  ["232.0.0.251", "01:00:5e:00:00:fb"], // computed
  ["233.252.0.1", "01:00:5e:7c:00:01"], // computed
  ["224.128.0.1", "01:00:5e:00:00:01"], // computed
  ["239.128.0.1", "01:00:5e:00:00:01"], // computed
  ["224.1.2.3", "01:00:5e:01:02:03"], // RFC 4541 section 4, question Q2: the same as the next
  ["239.129.2.3", "01:00:5e:01:02:03"], // RFC 4541 section 4, question Q2
  ["239.64.0.5", "01:00:5e:40:00:05"], // computed
  ["239.192.0.5", "01:00:5e:40:00:05"], // computed
  ["239.255.255.255", "01:00:5e:7f:ff:ff"], // computed
  ["239.255.255.245", "01:00:5e:7f:ff:f5"], // computed
  // RFC 2464 section 7: 33-33 and the last four octets.
  ["ff02::1", "33:33:00:00:00:01"], // computed
  ["ff02::16", "33:33:00:00:00:16"], // computed
  ["ff02::1:ff0e:8c6c", "33:33:ff:0e:8c:6c"], // solicited-node address of RFC 4291 section 2.7.1
  ["ff05::1:3", "33:33:00:01:00:03"], // computed
  ["ff15::1234", "33:33:00:00:12:34"], // computed
  ["ff35::4000:1", "33:33:40:00:00:01"], // computed
  ["ff0e::db8:0:1", "33:33:00:00:00:01"], // computed: the address of all-nodes
  ["ff0e::db8:8000:1", "33:33:80:00:00:01"], // computed
])("group MAC: given %s, then frames go to %s", (group, mac) => {
  expect(macOf(group)).toBe(mac);
});

test("group MAC: given any two IPv4 groups, then they share one if and only if their low 23 bits are equal (RFC 1112 6.4)", () => {
  const group = fc.tuple(
    fc.integer({ min: 224, max: 239 }),
    fc.constantFrom(0, 1, 127, 128, 129, 255),
    fc.constantFrom(0, 7),
    fc.constantFrom(0, 9),
  );
  fc.assert(
    fc.property(group, group, (a, b) => {
      const value = (octets: readonly number[]): number => octets.reduce((sum, octet) => sum * 256 + octet, 0);
      const isAlike = value(a) % 2 ** 23 === value(b) % 2 ** 23;
      expect(macOf(a.join(".")) === macOf(b.join("."))).toBe(isAlike);
    }),
  );
});

test("group MAC: given all first and second octets, then 32 groups share the address of 224.0.0.5 (RFC 1112 6.4)", () => {
  const aliases: string[] = [];
  for (let first = 224; first <= 239; first++) {
    for (let second = 0; second <= 255; second++) {
      const group = `${first}.${second}.0.5`;
      if (macOf(group) === "01:00:5e:00:00:05") aliases.push(group);
    }
  }
  expect(aliases).toHaveLength(32);
  expect(aliases.every((group) => /^\d+\.(0|128)\.0\.5$/.test(group))).toBe(true);
});

test("source-specific range: 232/8 and ff3x::/32 (RFC 4607 section 1)", () => {
  for (const group of ["232.0.0.0", "232.255.255.255", "ff30::1", "ff3e::8000:1", "ff3f:0:ffff::1"]) {
    expect([group, isSourceSpecific(address(group))]).toEqual([group, true]);
  }
  for (const group of ["231.255.255.255", "233.0.0.0", "ff3e:1::1", "ff3e:30:2001:db8:1::1", "ff15::1", "ff70::1"]) {
    expect([group, isSourceSpecific(address(group))]).toEqual([group, false]);
  }
});

const codesOf = (group: string): string[] => {
  const isSsm = isSourceSpecific(address(group));
  return lintGroups([{ name: "a", group, ttl: 8, isSourceSpecific: isSsm, mostRouters: null }]).map(({ code }) => code);
};

// Both ends of every block of RFC 5771 section 3 and every scope of RFC 2365 section 6, octet 3 chosen off 0 where the
// end would otherwise be an alias as well.
test.each([
  ["224.0.0.0", ["link-local-block"]],
  ["224.0.0.255", ["link-local-block"]],
  ["224.0.1.0", ["internetwork-control-block"]],
  ["224.0.1.255", ["internetwork-control-block"]],
  ["224.0.2.0", ["assigned-block"]],
  ["224.0.255.255", ["assigned-block"]],
  ["224.1.0.0", ["reserved-block"]],
  ["224.1.255.255", ["reserved-block"]],
  ["224.2.0.0", ["assigned-block"]],
  ["224.2.255.255", ["assigned-block"]],
  ["224.3.0.0", ["assigned-block"]],
  ["224.4.255.255", ["assigned-block"]],
  ["224.5.0.0", ["reserved-block"]],
  ["231.255.255.255", ["reserved-block"]],
  ["232.0.1.0", []],
  ["232.255.255.255", []],
  ["233.0.1.0", ["assigned-block"]],
  ["233.251.239.255", ["assigned-block"]],
  ["233.251.240.0", ["documentation"]], // RFC 6676 section 2.2
  ["233.251.255.255", ["documentation"]],
  ["233.252.0.0", ["documentation"]], // RFC 6676 section 2
  ["233.252.0.255", ["documentation"]],
  ["233.252.1.0", ["assigned-block"]],
  ["233.255.255.255", ["assigned-block"]],
  ["234.0.1.0", ["assigned-block"]], // RFC 6034
  ["234.255.255.255", ["assigned-block"]],
  ["235.0.1.0", ["reserved-block"]],
  ["238.255.255.255", ["reserved-block"]],
  ["239.0.1.0", ["unassigned-scope"]], // RFC 2365 section 6.2.1
  ["239.191.255.255", ["unassigned-scope"]],
  ["239.192.0.0", []], // RFC 2365 section 6.2
  ["239.195.255.255", []],
  ["239.196.0.0", ["unassigned-scope"]],
  ["239.252.255.255", ["unassigned-scope"]],
  ["239.253.0.0", ["unassigned-scope"]], // RFC 2365 section 6.1.1
  ["239.254.255.255", ["unassigned-scope"]],
  ["239.255.0.0", ["local-scope"]], // RFC 2365 section 6.1
  ["239.255.255.255", ["local-scope"]],
])("IPv4 blocks: %s is %j", (group, codes) => {
  expect(codesOf(group)).toEqual(codes);
});

// RFC 4607 section 9 names 232.0.0.0/24 and 232.128.0.0/24; the others are computed from RFC 1112 section 6.4.
test.each(["232.0.0.1", "232.128.0.255", "239.0.0.5", "239.128.0.251", "225.0.0.0"])(
  "reserved MAC: %s shares the address of 224.0.0.x",
  (group) => {
    expect(codesOf(group)).toContain("reserved-mac");
  },
);
test.each(["232.0.1.1", "232.64.0.1", "239.192.0.5", "239.127.0.5", "224.0.0.5"])(
  "reserved MAC: %s is not an alias of 224.0.0.x",
  (group) => {
    expect(codesOf(group)).not.toContain("reserved-mac");
  },
);

test.each([
  ["ff01::8000:1", ["link-local-block"]], // interface-local, RFC 7346 section 2
  ["ff02::8000:1", ["link-local-block"]],
  ["ff12::8000:1", ["link-local-block"]], // transient makes no difference
  ["ff10::8000:1", ["link-local-block"]], // reserved scope 0: must not be sent, RFC 4291 section 2.7
  ["ff13::8000:1", []],
  ["ff14::8000:1", []],
  ["ff15::8000:1", []],
  ["ff16::8000:1", ["scope-unassigned"]],
  ["ff17::8000:1", ["scope-unassigned"]],
  ["ff18::8000:1", []],
  ["ff19::8000:1", ["scope-unassigned"]],
  ["ff1d::8000:1", ["scope-unassigned"]],
  ["ff1e::8000:1", []],
  ["ff1f::8000:1", ["scope-unassigned"]],
  ["ff05::8000:1", ["well-known-group"]], // T = 0: assigned by IANA, RFC 4291 section 2.7
  ["ff0e::db8:8000:1", ["documentation"]], // RFC 6676 section 3
  ["ff05::db8:8000:1", ["documentation"]],
  ["ff0e::db8:0:1", ["documentation", "reserved-mac"]], // shares the address of all-nodes, RFC 2464 section 7
  ["ff3e:20:2001:db8::8000:1", ["documentation"]], // RFC 6676 section 3.1
  ["ff7e:120:2001:db8::8000:1", ["documentation"]], // RFC 6676 section 3.2
  ["ff3e:30:3ffe:ffff:1::8000:1", []], // RFC 3306 section 7, with a group id
  ["ff35::8000:0", []], // RFC 4607 section 1: free for dynamic use
  ["ff35::7fff:ffff", ["ssm-reserved"]], // kept for IANA
  ["ff35::4000:0", ["ssm-reserved"]],
  ["ff35::3fff:ffff", ["ssm-reserved"]], // invalid
])("IPv6 scopes and flags: %s is %j", (group, codes) => {
  expect(codesOf(group)).toEqual(codes);
});
