import { execFileSync, spawnSync } from "node:child_process";
import { mkdtempSync, readFileSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { fileURLToPath } from "node:url";
import { ProductionFollower } from "@dyetrace/measure";
import { afterAll, beforeAll, describe, expect, test } from "vitest";

/**
 * One transport stream of Debian's ffmpeg, with two programs at a constant rate, as datagrams of seven packets: what the agent's reader
 * says of it is held to two readers that are none of ours, or share nothing with it: ffmpeg's own demultiplexer, which tells of
 * each continuity error, and the formulas of ISO/IEC 13818-1 in Python over a capture that scapy reads.
 */
const RATE_BPS = 2e6;
const DATAGRAM_BYTES = 7 * 188;
const INTERVAL_NS = Math.round((DATAGRAM_BYTES * 8e9) / RATE_BPS);
const folder = mkdtempSync(join(tmpdir(), "dyetrace-ts-"));
const at = (name: string): string => join(folder, name);

interface Datagram {
  readonly bytes: Uint8Array;
  readonly atNs: number;
}

let whole: Datagram[];

beforeAll(() => {
  const inputs = "-f lavfi -i testsrc2=size=320x180:rate=25 -f lavfi -i sine=frequency=440:sample_rate=48000 -t 4";
  const maps = "-map 0:v -map 1:a -map 1:a -c:v mpeg2video -b:v 800k -c:a mp2 -b:a 128k";
  const programs = "-program title=one:st=0:st=1 -program title=two:st=2";
  const all = `-nostdin -loglevel error -y ${inputs} ${maps} ${programs} -muxrate ${RATE_BPS} -f mpegts ${at("whole.ts")}`;
  execFileSync("ffmpeg", all.split(" "));
  const stream = readFileSync(at("whole.ts"));
  whole = [];
  for (let i = 0; (i + 1) * DATAGRAM_BYTES <= stream.length; i++) {
    const bytes = Uint8Array.from(stream.subarray(i * DATAGRAM_BYTES, (i + 1) * DATAGRAM_BYTES));
    // Up to 3 ms late, and after the 300th all come 120 ms later.
    whole.push({ bytes, atNs: 1e9 + i * INTERVAL_NS + ((i * 7919) % 31) * 100_000 + (i > 300 ? 120e6 : 0) });
  }
});
afterAll(() => rmSync(folder, { recursive: true }));

function followed(datagrams: readonly Datagram[]) {
  const follower = new ProductionFollower(null, 20_000, false);
  for (const { bytes, atNs } of datagrams) follower.take(bytes, 0, bytes.length, bytes.length, atNs, 1, 0);
  const { rtp, digest } = follower.cut(true);
  expect(rtp).toEqual([]);
  if (digest.ts === null) throw new Error("It was not seen to be a transport stream");
  return digest.ts;
}

/** A pcap with nanoseconds (draft-ietf-opsawg-pcap, section 4) of Ethernet, IPv4 and UDP around each. */
function asCapture(datagrams: readonly Datagram[]): Buffer {
  const head = Buffer.alloc(24);
  head.writeUInt32LE(0xa1b23c4d);
  head.writeUInt16LE(2, 4);
  head.writeUInt16LE(4, 6);
  head.writeUInt32LE(65_535, 16);
  head.writeUInt32LE(1, 20);
  const records = datagrams.map(({ bytes, atNs }) => {
    const record = Buffer.alloc(16 + 42 + bytes.length);
    record.writeUInt32LE(Math.floor(atNs / 1e9));
    record.writeUInt32LE(atNs % 1e9, 4);
    record.writeUInt32LE(42 + bytes.length, 8);
    record.writeUInt32LE(42 + bytes.length, 12);
    record.set([1, 0, 0x5e, 68, 4, 7, 2, 0, 0, 0, 0, 9, 8, 0, 0x45], 16);
    record.writeUInt16BE(28 + bytes.length, 32);
    record.set([0x40, 0, 4, 17, 0, 0, 10, 4, 0, 9, 239, 196, 4, 7], 36);
    record.set([0x13, 0x8c, 0x13, 0x8c], 50);
    record.writeUInt16BE(8 + bytes.length, 54);
    record.set(bytes, 58);
    return record;
  });
  return Buffer.concat([head, ...records]);
}

function byFormulas(datagrams: readonly Datagram[]): Record<string, number> {
  writeFileSync(at("capture.pcap"), asCapture(datagrams));
  const script = fileURLToPath(new URL("ts-reader.py", import.meta.url));
  return JSON.parse(execFileSync("/usr/bin/python3", [script, at("capture.pcap")], { encoding: "utf8" }));
}

/** It reads much of a file before it begins, to find out what is in it: what it tells from "Stream mapping" on is of the reading itself. */
function toldByDemultiplexer(datagrams: readonly Datagram[]): string[] {
  writeFileSync(at("part.ts"), Buffer.concat(datagrams.map(({ bytes }) => bytes)));
  const args = ["-nostdin", "-loglevel", "debug", "-i", at("part.ts"), "-map", "0", "-c", "copy", "-f", "null", "-"];
  const { stderr } = spawnSync("ffmpeg", args, { encoding: "utf8", maxBuffer: 1 << 28 });
  const [, reading] = stderr.split("Stream mapping:");
  if (reading === undefined) throw new Error(`ffmpeg did not read the stream: ${stderr.slice(-500)}`);
  return [...reading.matchAll(/Continuity check failed for (pid.*)/g)].map(([, what = ""]) => what);
}

/** Both round to a nanosecond, on the way there at different places. */
function expectSame(ours: Readonly<Record<string, number | null>>, theirs: Readonly<Record<string, number>>): void {
  for (const [name, value] of Object.entries(theirs)) {
    if (name.endsWith("Ns")) expect(Math.abs((ours[name] ?? Number.NaN) - value), name).toBeLessThan(1000);
    else expect(ours[name], name).toBe(value);
  }
}

describe("a transport stream of ffmpeg's", () => {
  test("given all of it, then clocks, tables and counters are those of the formulas, and nobody finds an error", () => {
    const [ours, theirs] = [followed(whole), byFormulas(whole)];
    expectSame({ ...ours }, theirs);
    expect(theirs).toMatchObject({ continuityErrors: 0, programs: 2, packets: 7 * whole.length, pcrOverdue: 2 });
    expect(theirs["nullPackets"]).toBeGreaterThan(100);
    // The pause, 3 ms of swing, and the length of a datagram, somewhere in which the reference stands.
    expect(theirs["pcrJitterNs"]).toBeGreaterThan(120e6);
    expect(theirs["pcrJitterNs"]).toBeLessThan(123e6 + INTERVAL_NS);
    expect(toldByDemultiplexer(whole)).toEqual([]);
  });

  test("given datagrams missing here and there, then the errors are as many as ffmpeg tells and the formulas give", () => {
    const lossy = whole.filter((_, i) => i < 30 || i % 37 > 1);
    const [ours, theirs] = [followed(lossy), byFormulas(lossy)];
    expectSame({ ...ours }, theirs);
    expect(ours.continuityErrors).toBeGreaterThan(20);
    expect(toldByDemultiplexer(lossy)).toHaveLength(ours.continuityErrors);
  });
});
