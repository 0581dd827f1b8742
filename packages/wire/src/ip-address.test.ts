import { isIP } from "node:net";
import fc from "fast-check";
import { expect, test } from "vitest";
import { formatIpAddress, parseIpAddress } from "./ip-address.ts";

const word = fc.oneof(fc.constant(0), fc.integer({ min: 0, max: 0xffff }));
const eightWords = fc.array(word, { minLength: 8, maxLength: 8 });

// The URL standard's serialiser is an independent one for RFC 5952: the longest run of zeros, the first of equal ones.
test("formatIpAddress: given any IPv6 address, then its text is what a URL makes of it, and is read back as the same", () => {
  fc.assert(
    fc.property(eightWords, (words) => {
      const bytes = Uint8Array.from(words.flatMap((one) => [one >> 8, one & 0xff]));
      const written = formatIpAddress(bytes);
      const long = words.map((one) => one.toString(16)).join(":");
      expect(`[${written}]`).toBe(new URL(`http://[${long}]/`).hostname);
      expect(parseIpAddress(written)?.bytes).toEqual(bytes);
      expect(parseIpAddress(long)?.bytes).toEqual(bytes);
    }),
  );
});

const piece = fc.oneof(
  fc.constantFrom("", "0", "00", "1", "255", "256", "ffff", "10000", "a", "192.0.2.1", "1.2.3.04"),
);
const text = fc
  .tuple(fc.array(piece, { minLength: 1, maxLength: 9 }), fc.constantFrom(".", ":"), fc.constantFrom("", "::"))
  .map(([pieces, mark, head]) => head + pieces.join(mark));

test("parseIpAddress: given text that may be an address, then it is one exactly where Node says so (inet_pton)", () => {
  fc.assert(
    fc.property(text, (written) => {
      expect([written, parseIpAddress(written)?.family ?? 0]).toEqual([written, isIP(written)]);
    }),
    { numRuns: 2000 },
  );
});

test.each(["1.2.3", "0x7f.1", "010.1.1.1", "fe80::1%eth0", "::1.2.3.04", "192.0.2.1::", "1.2.3.4 ", "1::2::3", ""])(
  "parseIpAddress: given %j, then it is none",
  (written) => expect(parseIpAddress(written)).toBeNull(),
);
