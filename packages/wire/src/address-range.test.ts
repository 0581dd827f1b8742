import { BlockList } from "node:net";
import fc from "fast-check";
import { expect, test } from "vitest";
import { isInRange, networkOf, parseAddressRange } from "./address-range.ts";
import { formatIpAddress, parseIpAddress } from "./ip-address.ts";

const address = (text: string) => {
  const parsed = parseIpAddress(text);
  if (parsed === null) throw new Error(text);
  return parsed;
};

test("isInRange: given any address and range, then it says what the run-time's own block list says", () => {
  const bytes = fc.oneof(
    fc.uint8Array({ minLength: 4, maxLength: 4 }),
    fc.uint8Array({ minLength: 16, maxLength: 16 }),
  );
  fc.assert(
    fc.property(bytes, fc.nat(), fc.nat(), (base, prefixSeed, flipSeed) => {
      const widthBits = base.length * 8;
      const prefixBits = prefixSeed % (widthBits + 1);
      const other = Uint8Array.from(base);
      const flip = flipSeed % widthBits; // one bit apart: inside or outside, never far away
      other[flip >> 3] = (other[flip >> 3] ?? 0) ^ (0x80 >> (flip & 7));
      const family = base.length === 4 ? "ipv4" : "ipv6";
      const list = new BlockList();
      list.addSubnet(formatIpAddress(base), prefixBits, family);
      const range = parseAddressRange(
        `${formatIpAddress(networkOf(address(formatIpAddress(base)), prefixBits))}/${prefixBits}`,
      );
      expect(isInRange(address(formatIpAddress(other)), range)).toBe(list.check(formatIpAddress(other), family));
    }),
  );
});

test("isInRange: given the other family, then never", () => {
  expect(isInRange(address("ff15::1"), parseAddressRange("0.0.0.0/0"))).toBe(false);
});

test.each(["239.195.0.0/33", "239.195.0.0/x", "239.195.0/16", "ff15::/129", "ff15::/16/4", "", "239.195.0.0/"])(
  "parseAddressRange: given %j, then it is no range",
  (text) => {
    expect(() => parseAddressRange(text)).toThrow(/no range of addresses/);
  },
);

test.each([
  ["239.195.4.0/8", "239.0.0.0/8"],
  ["239.195.4.1/24", "239.195.4.0/24"],
  ["0.0.0.1/0", "0.0.0.0/0"],
  ["ff15::10:4/16", "ff15::/16"],
  ["ff15::1/127", "ff15::/127"],
])(
  "parseAddressRange: given %s, whose prefix leaves out bits that are set, then it is refused, and %s offered",
  (text, offered) => {
    let hint = "";
    try {
      parseAddressRange(text);
    } catch (fault) {
      hint = (fault as { hint: string }).hint;
    }
    expect(hint).toContain(`Write ${offered} if`);
    expect(() => parseAddressRange(offered)).not.toThrow();
  },
);
