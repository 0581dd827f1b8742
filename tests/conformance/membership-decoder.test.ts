import { type MembershipMessage, MembershipMessageSchema } from "@dyetrace/wire";
import fc from "fast-check";
import { Compile } from "typebox/compile";
import { expect, test } from "vitest";
import { decode, FE80_1, FF02_16, hex, ipv4Frame, ipv6Frame } from "./membership-frames.ts";

const RUNS = 100_000;
const validator = Compile(MembershipMessageSchema);

/** Whole frames to spoil, so that the bytes drawn get past the first checks. */
const SAMPLES: readonly (readonly number[])[] = [
  ipv4Frame(hex("11 0a 40 0f e8 01 02 03 02 7d 00 01 c0 00 02 63")),
  ipv4Frame(hex("22 00 2c 95 00 00 00 01 05 00 00 01 e8 01 02 03 c0 00 02 63"), { tag: 10 }),
  ipv4Frame(hex("16 00 f8 fa ef 01 02 03"), { isPadded: true }),
  ipv4Frame(hex("20 00 0000 0001 0002 0069 0018 000c 01 00 c0000202 01 00 c6336402"), { protocol: 103 }),
  ipv6Frame(hex(`8f 00 0000 0000 0001 05 01 0001 ${FE80_1} ${FF02_16} deadbeef`)),
  ipv6Frame(hex(`82 00 0000 03e8 0000 ${FF02_16} 8b 0a 0001 ${FE80_1}`)),
];

function expectSound(message: MembershipMessage | null): void {
  if (message === null) return;
  if (!validator.Check(JSON.parse(JSON.stringify(message)))) {
    throw new Error(`Not of the schema: ${JSON.stringify(message)}`);
  }
}

test("membership decoder: given any bytes, then it answers with null or with a message of the schema", () => {
  fc.assert(
    fc.property(fc.uint8Array({ maxLength: 200 }), fc.nat(300), (bytes, length) => {
      expectSound(decode([...bytes], length));
    }),
    { numRuns: RUNS },
  );
});

test("membership decoder: given real frames with bytes changed and ends cut off, then the same", () => {
  let decoded = 0;
  fc.assert(
    fc.property(
      fc.constantFrom(...SAMPLES),
      fc.array(fc.tuple(fc.nat(120), fc.integer({ min: 0, max: 255 })), { maxLength: 4 }),
      fc.nat(20),
      (sample, changes, cut) => {
        const frame = [...sample];
        for (const [at, byte] of changes) frame[at % frame.length] = byte;
        const message = decode(frame, frame.length - (cut < 15 ? 0 : cut));
        if (message !== null) decoded++;
        expectSound(message);
      },
    ),
    { numRuns: RUNS },
  );
  expect(decoded).toBeGreaterThan(RUNS / 2); // else the frames drawn never got as far as the messages
});
