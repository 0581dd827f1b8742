import { layTestPacket, stampTestPacket } from "@dyetrace/wire";
import fc from "fast-check";
import { expect, test } from "vitest";
import { FrameWatch } from "./frame-watch.ts";

const RUN_ID = "00000000d1e7ace0";
const PORT = 48_620;
const MULTICAST = 2; // PACKET_MULTICAST (linux/if_packet.h)
const HOST = 0;

/** IPv4 without options, UDP, test packet; RFC 791 3.1 and RFC 768. */
function frameOf(seq: number, changes: { runId?: string; streamId?: number; sizeBytes?: number } = {}): Uint8Array {
  const { runId = RUN_ID, streamId = 1, sizeBytes = 96 } = changes;
  const bytes = new Uint8Array(42 + sizeBytes);
  const view = new DataView(bytes.buffer);
  view.setUint16(12, 0x0800);
  bytes.set([0x45, 0, 0, 0, 0, 0, 0, 0, 1, 17, 0, 0, 192, 0, 2, 1, 233, 252, 0, 1], 14);
  view.setUint16(16, 28 + sizeBytes);
  view.setUint16(34, PORT);
  view.setUint16(36, PORT);
  view.setUint16(38, 8 + sizeBytes);
  const identity = { runId, streamId, senderId: 7, intervalNs: 1e6, ttl: 1, dscp: 0, isCompanion: false, contact: "" };
  layTestPacket(view, 42, sizeBytes, identity);
  stampTestPacket(view, bytes, 42, seq, 0, 0);
  return bytes;
}

const open = (streams = 1): FrameWatch =>
  new FrameWatch({
    runId: RUN_ID,
    startMonotonicNs: 1000,
    streams: Array.from({ length: streams }, (_, i) => ({ streamId: i + 1, group: "233.252.0.1", port: PORT })),
  });

const take = (watch: FrameWatch, frame: Uint8Array, packetType = MULTICAST, vlanId = -1, atNs = 0): void =>
  watch.take(new DataView(frame.buffer), frame, 0, Math.min(frame.length, 160), packetType, vlanId, atNs);

test("frame watch: given frames, then first, last and runs of numbers are told, and counting starts anew", () => {
  const watch = open();
  for (const [seq, atNs] of [
    [5, 1500],
    [6, 1600],
    [9, 1900],
  ] as const)
    take(watch, frameOf(seq), MULTICAST, -1, atNs);
  expect(watch.snapshot()).toEqual([
    {
      streamId: 1,
      frames: 3,
      firstNs: 500,
      lastNs: 900,
      ranges: [
        [5, 6],
        [9, 9],
      ],
      unlistedFrames: 0,
      asUnicastFrames: 0,
      taggedFrames: 0,
      foreignFrames: 0,
    },
  ]);
  expect(watch.snapshot()).toMatchObject([{ frames: 0, firstNs: null, lastNs: null, ranges: [] }]);
});

test("frame watch: given a frame cut at 160 bytes, then the UDP header vouches for its size", () => {
  const watch = open();
  take(watch, frameOf(0, { sizeBytes: 1316 }));
  const shortened = frameOf(1, { sizeBytes: 1316 });
  new DataView(shortened.buffer).setUint16(38, 8 + 1000); // the UDP header announces less than the packet was sent with
  take(watch, shortened);
  expect(watch.snapshot()).toMatchObject([{ frames: 1, foreignFrames: 1 }]);
});

test("frame watch: given unicast and tagged frames, then each kind is counted apart", () => {
  const watch = open();
  take(watch, frameOf(0), HOST);
  take(watch, frameOf(1));
  take(watch, frameOf(2), MULTICAST, 10);
  expect(watch.snapshot()).toMatchObject([{ frames: 2, asUnicastFrames: 1, taggedFrames: 1, ranges: [[0, 1]] }]);
});

test("frame watch: given another run, an unknown stream and a damaged packet, then they are foreign to the group", () => {
  const watch = open();
  take(watch, frameOf(0, { runId: "00000000d1e7acef" }));
  take(watch, frameOf(0, { streamId: 99 }));
  const damaged = frameOf(0);
  damaged[42 + 30] = 1; // a sequence number that the CRC does not cover
  take(watch, damaged);
  const elsewhere = frameOf(0, { streamId: 99 });
  elsewhere[33] = 2; // to 233.252.0.2
  take(watch, elsewhere);
  expect(watch.snapshot()).toMatchObject([{ frames: 0, foreignFrames: 3 }]);
});

test("frame watch: given more runs of numbers than there is room for, then the frames without room are counted", () => {
  const watch = open();
  for (let i = 0; i < 1100; i++) take(watch, frameOf(2 * i));
  expect(watch.snapshot()).toMatchObject([{ frames: 1100, unlistedFrames: 76 }]);
  const many = open(4096);
  for (let i = 0; i < 20; i++) take(many, frameOf(2 * i));
  expect(many.snapshot()[0]).toMatchObject({ frames: 20, unlistedFrames: 4 });
});

test("frame watch: given any bytes, then it counts or ignores them, and never throws", () => {
  const watch = open();
  const ethertypes = fc.constantFrom([8, 0], [0x86, 0xdd], [0, 0]);
  fc.assert(
    fc.property(fc.uint8Array({ maxLength: 160 }), ethertypes, (bytes, ethertype) => {
      const frame = Uint8Array.from(bytes);
      if (frame.length >= 14) frame.set(ethertype, 12);
      take(watch, frame);
    }),
    { numRuns: 20_000 },
  );
  expect(watch.snapshot()).toMatchObject([{ frames: 0 }]);
});
