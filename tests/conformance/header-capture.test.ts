import { execFileSync } from "node:child_process";
import { mkdtempSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import path from "node:path";
import { fileURLToPath } from "node:url";
import { CaptureReader } from "@dyetrace/wire/capture/capture-reader";
import { decodeHeaderRecords, RECORD_HEAD_BYTES } from "@dyetrace/wire/capture/header-records";
import { type PcapngPacket, writePcapng } from "@dyetrace/wire/capture/write-pcapng";
import fc from "fast-check";
import { describe, expect, test } from "vitest";
import { frameBytesOf, headerBytesOf } from "../../agent/src/watcher/header-cut.ts";
import { HeaderRing } from "../../agent/src/watcher/header-ring.ts";
import { FF15_1234, hex, ipv4Frame, ipv6Frame } from "./membership-frames.ts";

const START = 1_764_467_000_123_456_789n;
const frame = (seq: number): Uint8Array =>
  Uint8Array.from(
    ipv4Frame([...hex("0009 138c"), 0, 20, 0, 0, seq, ...new Array<number>(11).fill(7)], {
      ...{ protocol: 17, destination: "233.252.0.1", hasRouterAlert: false },
    }),
  );
const packets: readonly PcapngPacket[] = Array.from({ length: 5 }, (_, i) => ({
  interfaceIndex: i % 2,
  timeNs: START + BigInt(i) * 1_000_001n,
  bytes: frame(i),
  originalBytes: 1000 + i,
  isOutbound: i === 0,
}));
const interfaces = ["tower:eth0", "kiösk:eth0"].map((name) => ({
  ...{ name, description: "a host", snapBytes: 0, comment: "Its times are right within 0.1 ms" },
}));
const file = writePcapng({ comment: "two lines\nof words", application: "dyetrace test", interfaces, packets });

describe("pcapng: given packets of two interfaces", () => {
  test("then scapy reads their number, times, lengths, bytes and the interfaces' names", () => {
    const folder = mkdtempSync(path.join(tmpdir(), "dyetrace-pcapng-"));
    try {
      writeFileSync(path.join(folder, "x.pcapng"), file);
      const script = fileURLToPath(new URL("../field/capture-reader.py", import.meta.url));
      // Debian's own Python: its packages are not those of another one in front of it.
      const said = execFileSync("/usr/bin/python3", [script, path.join(folder, "x.pcapng")], {
        encoding: "utf8",
        stdio: ["ignore", "pipe", "ignore"], // it warns of comments of one line
      });
      const read = said
        .trim()
        .split("\n")
        .map((line) => JSON.parse(line) as Record<string, unknown>);
      expect(read.map(({ interface: name, timeNs, wire, kept, port }) => ({ name, timeNs, wire, kept, port }))).toEqual(
        packets.map(({ interfaceIndex, timeNs, originalBytes, bytes }) => ({
          name: interfaces[interfaceIndex]?.name,
          timeNs: String(timeNs),
          wire: originalBytes,
          kept: bytes.length,
          port: 5004,
        })),
      );
    } finally {
      rmSync(folder, { recursive: true });
    }
  });

  test("then our own reader of capture files finds the same", () => {
    const reader = new CaptureReader();
    const seen: { readonly timeUs: number | null; readonly hex: string; readonly originalBytes: number }[] = [];
    reader.read(file, ({ timeUs, bytes, originalBytes }) =>
      seen.push({ timeUs, hex: Buffer.from(bytes).toString("hex"), originalBytes }),
    );
    reader.end();
    expect(reader.problem).toBeNull();
    expect(seen.map(({ hex: bytes, originalBytes }) => [bytes, originalBytes])).toEqual(
      packets.map(({ bytes, originalBytes }) => [Buffer.from(bytes).toString("hex"), originalBytes]),
    );
    for (const [i, { timeUs }] of seen.entries()) {
      expect(Math.abs((timeUs ?? 0) - Number((packets[i]?.timeNs ?? 0n) / 1000n))).toBeLessThanOrEqual(1); // it reads to a quarter of 1 us
    }
  });
});

describe("header ring: given more frames than it has room for", () => {
  const add = (ring: HeaderRing, serial: number, keptBytes: number): void =>
    ring.add(new Uint8Array(keptBytes).fill(serial & 0xff), 0, keptBytes, keptBytes + 100, serial, 0, serial % 2 === 0);

  test("then what it hands over is the latest ones, whole and in order, as a plain list has them", () => {
    fc.assert(
      fc.property(
        fc.integer({ min: 200, max: 2000 }),
        fc.array(fc.integer({ min: 34, max: 190 }), { maxLength: 200 }),
        (sizeBytes, lengths) => {
          const ring = new HeaderRing(sizeBytes);
          for (const [serial, keptBytes] of lengths.entries()) add(ring, serial, keptBytes);
          const records = decodeHeaderRecords(ring.read(-1e18, 1e18, 1e6).bytes);
          const wanted = lengths
            .map((keptBytes, serial) => ({ serial, keptBytes }))
            .filter(({ keptBytes }) => keptBytes + RECORD_HEAD_BYTES <= sizeBytes);
          const got = (records ?? []).map(({ atNs, bytes }) => ({ serial: atNs, keptBytes: bytes.length }));
          expect(got).toEqual(wanted.slice(wanted.length - got.length)); // the latest
          expect(ring.overwritten + got.length).toBe(wanted.length);
          for (const { atNs, bytes, originalBytes, isOutbound } of records ?? []) {
            expect([bytes.every((byte) => byte === (atNs & 0xff)), originalBytes, isOutbound]).toEqual([
              true,
              bytes.length + 100,
              atNs % 2 === 0,
            ]);
          }
          const held = got.reduce((sum, { keptBytes }) => sum + keptBytes + RECORD_HEAD_BYTES, 0);
          // What is free is less than what the next one may need, twice: at the end, and before the oldest.
          if (got.length < wanted.length) expect(sizeBytes - held).toBeLessThan(2 * (190 + RECORD_HEAD_BYTES));
        },
      ),
      { numRuns: 200 },
    );
  });

  test("then only records of the asked time are handed over, as many as fit, and the others are counted", () => {
    const ring = new HeaderRing(10_000);
    for (let serial = 0; serial < 20; serial++) add(ring, serial, 34);
    const { bytes, leftOut } = ring.read(5, 14, 3 * (34 + RECORD_HEAD_BYTES));
    expect(decodeHeaderRecords(bytes)?.map(({ atNs }) => atNs)).toEqual([5, 6, 7]);
    expect(leftOut).toBe(7);
  });
});

test("header records: given any bytes, then they are read or refused, and never throw", () => {
  fc.assert(
    fc.property(fc.uint8Array({ maxLength: 300 }), (bytes) => {
      const records = decodeHeaderRecords(bytes);
      const total = (records ?? []).reduce((sum, one) => sum + one.bytes.length + RECORD_HEAD_BYTES, 0);
      if (records !== null) expect(total).toBe(bytes.length);
    }),
    { numRuns: 5000 },
  );
});

describe("header cut: given a frame", () => {
  const cut = (bytes: readonly number[]): number => {
    const padded = Uint8Array.from(bytes);
    return headerBytesOf(new DataView(padded.buffer), 0, padded.length);
  };
  const group4 = { protocol: 17, destination: "233.252.0.1", hasRouterAlert: false };
  const udp = (payload: readonly number[]): number[] => [...hex("0009 138c 0000 0000"), ...payload];
  const filler = new Array<number>(100).fill(1);

  test("then Ethernet, IP and UDP are kept, of RTP's form twelve octets more, of a test packet its header, and nothing else", () => {
    expect(cut(ipv4Frame(udp(filler), group4))).toBe(14 + 20 + 8);
    expect(cut(ipv6Frame(udp(filler), { destination: FF15_1234, nextHeader: 17, hasRouterAlert: false }))).toBe(
      14 + 40 + 8,
    );
    expect(cut(ipv4Frame(udp([0x80, 96, ...filler]), group4))).toBe(14 + 20 + 8 + 12); // RFC 3550 section 5.1
    expect(cut(ipv4Frame(udp([0x64, 0x79, 0x65, 0x74, ...filler]), group4))).toBe(14 + 20 + 8 + 52);
    expect(cut(ipv4Frame(filler, { ...group4, protocol: 89 }))).toBe(14 + 20);
  });

  test("then its length is told by its IP header, without what Ethernet pads", () => {
    const short = [...ipv4Frame(udp([1, 2]), group4), ...new Array<number>(16).fill(0)];
    expect(frameBytesOf(new DataView(Uint8Array.from(short).buffer), 0, short.length)).toBe(14 + 20 + 8 + 2);
  });

  test("then no bytes at all make it throw or keep more than there is", () => {
    fc.assert(
      fc.property(fc.uint8Array({ maxLength: 200 }), fc.constantFrom([8, 0], [0x86, 0xdd], [0, 0]), (bytes, type) => {
        if (bytes.length > 13) bytes.set(type, 12);
        const view = new DataView(bytes.buffer, bytes.byteOffset, bytes.length);
        expect(headerBytesOf(view, 0, bytes.length)).toBeLessThanOrEqual(bytes.length);
        frameBytesOf(view, 0, bytes.length);
      }),
      { numRuns: 3000 },
    );
  });
});
