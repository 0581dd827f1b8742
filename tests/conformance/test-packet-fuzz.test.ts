import { StreamTracker } from "@dyetrace/measure";
import {
  emptyTestPacket,
  layTestPacket,
  readTestPacket,
  stampTestPacket,
  TEST_PACKET_HEADER_BYTES,
} from "@dyetrace/wire";
import { expect, test } from "vitest";

/** A small generator with a seed (xorshift, Marsaglia 2003), so that every run tests the same packets. */
function seeded(seed: number): () => number {
  let state = seed;
  return () => {
    state ^= state << 13;
    state ^= state >>> 17;
    state ^= state << 5;
    return state >>> 0;
  };
}

/** A listener that does with a payload what an agent does: count what is not ours, measure what is. */
function newListener() {
  const tracker = new StreamTracker({ mediaRateBps: null, seesHostDrops: false });
  const decoded = emptyTestPacket();
  const others = { foreign: 0, malformed: 0 };
  return {
    take: (frame: DataView, bytes: Uint8Array, length: number): void => {
      const verdict = readTestPacket(frame, bytes, 0, length, 0, 0, decoded);
      if (verdict !== "test") others[verdict] += 1;
      else tracker.record(decoded.seq, decoded.sentNs, 0, decoded.sizeBytes, decoded.senderId, 1, 0);
    },
    finish: () => ({ received: tracker.finish().received, ...others }),
  };
}

const SIZE = 1316;
const identity = {
  runId: "0123456789abcdef",
  streamId: 7,
  senderId: 0xfedcba98,
  intervalNs: 1e6,
  ttl: 8,
  dscp: 34,
  isCompanion: false,
  contact: "ask the network team",
};

test("test packets: given a million with a mutated header, then all are foreign or malformed and none is measured", () => {
  const random = seeded(0x5eed);
  const frame = new DataView(new ArrayBuffer(SIZE));
  const bytes = new Uint8Array(frame.buffer);
  layTestPacket(frame, 0, SIZE, identity);
  stampTestPacket(frame, bytes, 0, 123_456_789_012, 0x1234, 0x9abcdef0);
  const whole = bytes.slice(0, TEST_PACKET_HEADER_BYTES);
  const listener = newListener();
  listener.take(frame, bytes, SIZE);
  const PACKETS = 1_000_000;
  for (let i = 0; i < PACKETS; i++) {
    // One to four bytes of the header get another value; one mutation in eight also cuts the packet short.
    const changes = 1 + (random() & 3);
    for (let change = 0; change < changes; change++) {
      const at = random() % TEST_PACKET_HEADER_BYTES;
      bytes[at] = (whole[at] ?? 0) ^ (1 + (random() % 255));
    }
    listener.take(frame, bytes, (random() & 7) === 0 ? random() % (SIZE + 1) : SIZE);
    bytes.set(whole);
  }
  const { received, foreign, malformed } = listener.finish();
  expect(received).toBe(1); // the one whole packet: the listener does measure
  expect(foreign + malformed).toBe(PACKETS);
  expect(foreign).toBeGreaterThan(0);
  expect(malformed).toBeGreaterThan(0);
});

test("test packets: given 100,000 random byte strings, then all are foreign or malformed and none is measured", () => {
  const random = seeded(0xfeed);
  const frame = new DataView(new ArrayBuffer(1500));
  const bytes = new Uint8Array(frame.buffer);
  const listener = newListener();
  for (let i = 0; i < 100_000; i++) {
    const length = random() % 1501;
    for (let at = 0; at < length; at++) bytes[at] = random();
    // Every second one claims to be ours, so that the checks behind the magic meet random bytes too.
    if (i % 2 === 0) bytes.set([0x64, 0x79, 0x65, 0x74, 1]);
    listener.take(frame, bytes, length);
  }
  const { received, foreign, malformed } = listener.finish();
  expect(received).toBe(0);
  expect(foreign + malformed).toBe(100_000);
  expect(malformed).toBeGreaterThan(40_000);
});
