import { type TsCounts, TsFollower } from "@dyetrace/measure";
import {
  BufferTarget,
  EncodedAudioPacketSource,
  EncodedPacket,
  EncodedVideoPacketSource,
  MpegTsOutputFormat,
  Output,
} from "mediabunny";
import { beforeAll, expect, test } from "vitest";

// ISO/IEC 13818-1, 2.4.3.2 to 2.4.3.5. The series are computed by hand from its counter rules.

interface Packet {
  readonly counter: number;
  readonly pid?: number;
  /** Adaptation field control. */
  readonly control?: "payload" | "adaptation" | "both" | "reserved";
  readonly isDiscontinuity?: boolean;
  /** Repeats the content of the packet before. */
  readonly isRepeat?: boolean;
  readonly isDamaged?: boolean;
}

const CONTROL = { reserved: 0, payload: 0x10, adaptation: 0x20, both: 0x30 };

function followSeries(...series: readonly (number | Packet)[]): TsCounts {
  const follower = new TsFollower();
  let content = 0;
  let nullNumber = 0;
  for (const entry of series) {
    const packet = typeof entry === "number" ? { counter: entry } : entry;
    if (packet.isRepeat !== true) content += 1;
    const pid = packet.pid ?? 0x100;
    const bytes = new Uint8Array(2 * 188).fill(0xff);
    bytes.set([0x47, (packet.isDamaged ? 0x80 : 0) | (pid >> 8), pid & 0xff]);
    bytes[3] = CONTROL[packet.control ?? "payload"] | packet.counter;
    if (packet.control === "adaptation" || packet.control === "both") {
      bytes[4] = packet.control === "adaptation" ? 183 : 1;
      bytes[5] = packet.isDiscontinuity ? 0x80 : 0;
    }
    bytes[100] = content;
    // A null packet follows, numbered on, so that no two datagrams are alike.
    nullNumber += 1;
    bytes.set([0x47, 0x1f, 0xff, 0x10, nullNumber], 188);
    follower.record(bytes, 0, bytes.length);
  }
  return follower.take();
}

test("TS header: given the bytes 47 41 00 1a and a null packet, then PID 0x100 is followed and the null packet is not", () => {
  const bytes = new Uint8Array(2 * 188);
  bytes.set([0x47, 0x41, 0x00, 0x1a]);
  bytes.set([0x47, 0x1f, 0xff, 0x10], 188);
  const follower = new TsFollower();
  follower.record(bytes, 0, bytes.length);
  expect(follower.take()).toMatchObject({ packets: 2, nullPackets: 1, pids: [{ pid: 0x100, packets: 1 }] });
});

const repeat = (counter: number): Packet => ({ counter, isRepeat: true });
const adaptation = (counter: number): Packet => ({ counter, control: "adaptation" });

test.each([
  { name: "14 15 0 1", series: [14, 15, 0, 1], errors: 0, missing: 0 },
  { name: "0 1 2 4", series: [0, 1, 2, 4], errors: 1, missing: 1 },
  { name: "5, 5 with the same content, 6", series: [5, repeat(5), 6], errors: 0, missing: 0 },
  { name: "5 three times with the same content", series: [5, repeat(5), repeat(5)], errors: 1, missing: 0 },
  { name: "5, 5 with other content", series: [5, 5], errors: 1, missing: 15 },
  { name: "5, 5 without payload, 6", series: [5, adaptation(5), 6], errors: 0, missing: 0 },
  { name: "5, 6 without payload", series: [5, adaptation(6)], errors: 1, missing: 1 },
  {
    name: "5, reserved control 5, 6",
    series: [5, { counter: 5, control: "reserved" as const }, 6],
    errors: 0,
    missing: 0,
  },
  { name: "3 then 11: a lost datagram of 7", series: [3, 11], errors: 1, missing: 7 },
  { name: "3 then 2: two lost datagrams", series: [3, 2], errors: 1, missing: 14 },
  { name: "3 then 9 after 21 lost: reads as 5", series: [3, 9], errors: 1, missing: 5 },
  { name: "3 then 4 after 16 lost datagrams of 7: leaves no trace", series: [3, 4], errors: 0, missing: 0 },
  {
    name: "3 then 9 with the discontinuity indicator",
    series: [3, { counter: 9, control: "both" as const, isDiscontinuity: true }, 10],
    errors: 0,
    missing: 0,
  },
  { name: "3, damaged 9, 4", series: [3, { counter: 9, isDamaged: true }, 4], errors: 0, missing: 0 },
  {
    name: "two PIDs in turn",
    series: [3, { counter: 9, pid: 0x101 }, 4, { counter: 10, pid: 0x101 }],
    errors: 0,
    missing: 0,
  },
  {
    name: "null packets with any counter",
    series: [
      { counter: 3, pid: 0x1fff },
      { counter: 9, pid: 0x1fff },
    ],
    errors: 0,
    missing: 0,
  },
])("TS continuity: given $name, then $errors errors and at least $missing missing", ({ series, errors, missing }) => {
  expect(followSeries(...series)).toMatchObject({ continuityErrors: errors, missingAtLeast: missing });
});

test("TS continuity: given a permitted repeat whose clock reference differs, then it is one still", () => {
  // 2.4.3.3: a repeat is byte for byte the same but for the program clock reference.
  const follower = new TsFollower();
  for (const clock of [1, 2]) {
    const bytes = new Uint8Array(188).fill(7);
    bytes.set([0x47, 0x01, 0x00, 0x35, 7, 0x10, clock, clock, clock, clock, clock, clock]);
    follower.record(bytes, 0, 188);
  }
  expect(follower.take()).toMatchObject({ permittedRepeats: 1, continuityErrors: 0 });
});

test("TS: given a datagram that is no whole number of packets, or a packet without sync byte, then it is counted", () => {
  const follower = new TsFollower();
  follower.record(new Uint8Array(1315), 0, 1315);
  follower.record(new Uint8Array(188), 0, 188);
  expect(follower.take()).toMatchObject({ misalignedDatagrams: 1, syncLosses: 1, packets: 0 });
});

let stream: Uint8Array;

/** A stream of two PIDs and tables, written by the npm package mediabunny: 4 s of video and audio. */
beforeAll(async () => {
  const output = new Output({ format: new MpegTsOutputFormat(), target: new BufferTarget() });
  const video = new EncodedVideoPacketSource("avc");
  const audio = new EncodedAudioPacketSource("aac");
  output.addVideoTrack(video);
  output.addAudioTrack(audio);
  await output.start();
  const parameterSets = [
    0, 0, 0, 1, 0x67, 0x42, 0xc0, 0x1e, 0xd9, 0, 0xa0, 0x47, 0xfe, 0xc8, 0, 0, 0, 1, 0x68, 0xce, 0x3c, 0x80,
  ];
  for (let i = 0; i < 100; i++) {
    const isKey = i % 25 === 0;
    const slice = Array.from({ length: 3000 + ((i * 37) % 500) }, (_, k) => ((k * 31 + i * 7) % 251) + 1);
    const bytes = Uint8Array.from([...(isKey ? parameterSets : []), 0, 0, 0, 1, isKey ? 0x65 : 0x41, ...slice]);
    const decoderConfig = { codec: "avc1.42c01e", codedWidth: 640, codedHeight: 480 };
    await video.add(new EncodedPacket(bytes, isKey ? "key" : "delta", i / 25, 1 / 25), { decoderConfig });
    await audio.add(new EncodedPacket(new Uint8Array(200).fill(i + 1), "key", i / 25, 1 / 25), {
      decoderConfig: {
        codec: "mp4a.40.2",
        numberOfChannels: 2,
        sampleRate: 48_000,
        description: Uint8Array.from([0x11, 0x90]),
      },
    });
  }
  await output.finalize();
  const { buffer } = output.target;
  if (buffer === null) throw new Error("the muxer wrote nothing");
  stream = new Uint8Array(buffer);
});

const DATAGRAM = 7 * 188;
/** @param isLost of the datagram with this index */
function followStream(isLost: (index: number) => boolean, copies = 1): TsCounts {
  const follower = new TsFollower();
  const whole = Math.floor(stream.length / DATAGRAM);
  for (let i = 0; i < whole; i++) {
    for (let copy = 0; copy < copies; copy++) if (!isLost(i)) follower.record(stream, i * DATAGRAM, DATAGRAM);
  }
  return follower.take();
}

test("TS following: given a whole stream of an independent muxer, then there is no error on any PID", () => {
  const counts = followStream(() => false);
  expect(counts).toMatchObject({ continuityErrors: 0, missingAtLeast: 0, syncLosses: 0, transportErrors: 0 });
  expect(counts.pids.length).toBe(4); // two tables, video, audio
  expect(counts.packets).toBe(Math.floor(stream.length / DATAGRAM) * 7);
});

test("TS following: given any one datagram of it lost, then its 7 packets are missing, less only those of no counter", () => {
  const whole = Math.floor(stream.length / DATAGRAM);
  for (let lost = 1; lost < whole - 1; lost += 13) {
    const counts = followStream((i) => i === lost);
    // Every PID but the tables at the very start goes on after the loss, and 7 is less than the 16 of the counter.
    expect(counts.missingAtLeast).toBe(7);
  }
});

test("TS following: given every datagram twice, then the copies are told and are no errors of the stream", () => {
  const counts = followStream(() => false, 2);
  expect(counts).toMatchObject({ continuityErrors: 0, repeatedDatagrams: Math.floor(stream.length / DATAGRAM) });
});

test("TS following: given 16 datagrams of one PID lost, then the counters show nothing: the count is a lower bound", () => {
  const follower = new TsFollower();
  for (let i = 0; i < 40; i++) {
    const bytes = new Uint8Array(DATAGRAM).fill(i);
    for (let k = 0; k < 7; k++) bytes.set([0x47, 0x01, 0x00, 0x10 | ((i * 7 + k) & 0x0f)], k * 188);
    if (i < 10 || i >= 26) follower.record(bytes, 0, DATAGRAM);
  }
  expect(follower.take()).toMatchObject({ datagrams: 24, missingAtLeast: 0 });
});
