import { expect, test } from "vitest";
import { readNames } from "./name-block.ts";
import { numberNames } from "./number-names.ts";
import { ProductionFollower } from "./production-follower.ts";

/** A 32-bit mixing generator: the same numbers for the same seed. */
function generator(seed: number): () => number {
  let state = seed;
  return () => {
    state = (Math.imul(state, 1_103_515_245) + 12_345) >>> 0;
    return state / 2 ** 32;
  };
}

/** RTP around seven packets of a transport stream. */
function packet(random: () => number, seq: number): Uint8Array {
  const bytes = new Uint8Array(12 + 7 * 188);
  for (let i = 0; i < bytes.length; i++) bytes[i] = random() * 256;
  bytes.set([0x80, 33, (seq >> 8) & 255, seq & 255, 0, 0, 0, 0, 0, 0, 0, 7]);
  for (let i = 0; i < 7; i++) bytes.set([0x47, 1, 1, 0x10 | ((seq * 7 + i) & 15)], 12 + i * 188);
  return bytes;
}

const MOST_BITS = 8;

/** Some bits turned, or cut short. */
function mutated(random: () => number, bytes: Uint8Array): Uint8Array {
  const copy = bytes.slice(0, random() < 0.3 ? Math.floor(random() * bytes.length) : bytes.length);
  const turns = 1 + Math.floor(random() * MOST_BITS);
  for (let i = 0; i < turns && copy.length > 0; i++) {
    // Headers more often than what they carry.
    const at = Math.floor(random() * (random() < 0.5 ? Math.min(40, copy.length) : copy.length));
    copy[at] = (copy[at] ?? 0) ^ (1 << Math.floor(random() * 8));
  }
  return copy;
}

/** tests/bench/follow has the long form: a million packets. */
test("given media between mutated packets, then nothing is thrown and what was sent whole is never told as lost", () => {
  const random = generator(1);
  for (const format of [null, "rtp", "mpeg-ts", "any"] as const) {
    const followers = [0, 1].map(() => new ProductionFollower(format, 4000, false));
    let seq = 65_000;
    for (let i = 0; i < 1500; i++) {
      const bytes = packet(random, seq);
      const strange = mutated(random, bytes);
      // Both hosts get the same, as after a fault before the first branching; a mutated packet comes beside the whole one.
      for (const follower of followers) {
        follower.take(bytes, 0, bytes.length, bytes.length, i * 1e6, 5, 0);
        if (i % 3 === 0) follower.take(strange, 0, strange.length, strange.length, i * 1e6 + 1000, 5, 0);
      }
      seq = (seq + 1) & 0xffff;
    }
    const parts = followers.map((follower) => follower.cut(true));
    for (const { rtp } of parts) for (const { ssrc, receipt } of rtp) if (ssrc === 7) expect(receipt.lost).toBe(0);
    const names = parts.map(({ digest }) => (digest.names === null ? null : readNames(digest.names)));
    const lists = names.flatMap((one) => one ?? []);
    const { numbers, missingToAll } = numberNames(lists, 7);
    expect(numbers[0]).toEqual(numbers[1]);
    expect(missingToAll === 0 || format !== "any").toBe(true);
  }
});
