import { expect, test } from "vitest";
import { mergeTsFlows, TsFlow } from "./ts-flow.ts";
import { TsTiming } from "./ts-timing.ts";

/** One packet of 188 bytes with a header as in ISO/IEC 13818-1, 2.4.3.2. */
function packet(pid: number, counter: number, flags = 0x10): Uint8Array {
  const bytes = new Uint8Array(188).fill(0xff);
  bytes.set([0x47, pid >> 8, pid & 0xff, flags | counter]);
  return bytes;
}

/** With a program clock reference: 33 bits of 90 kHz, 6 reserved, 9 of 27 MHz (2.4.3.5). */
function clocked(pid: number, counter: number, exact: number, isDiscontinuity = false): Uint8Array {
  const ticks = Math.round(exact);
  const bytes = packet(pid, counter, 0x30);
  const [base, extension] = [BigInt(Math.floor(ticks / 300)), ticks % 300];
  const word = (base << 15n) | 0x7e00n | BigInt(extension);
  bytes.set([7, isDiscontinuity ? 0x90 : 0x10], 4);
  for (let i = 0; i < 6; i++) bytes[6 + i] = Number((word >> BigInt(40 - 8 * i)) & 255n);
  return bytes;
}

function pat(counter: number, pids: readonly number[]): Uint8Array {
  const bytes = packet(0, counter);
  bytes[1] = 0x40;
  const programs = pids.flatMap((pid, i) => [0, i + 1, 0xe0 | (pid >> 8), pid & 0xff]);
  bytes.set([0, 0, 0xb0, 9 + programs.length, 0, 1, 0xc1, 0, 0, ...programs, 0, 0, 0, 0], 4);
  return bytes;
}

function pmtStart(pid: number, counter: number): Uint8Array {
  const bytes = packet(pid, counter);
  bytes[1] = (bytes[1] ?? 0) | 0x40;
  bytes.set([0, 2], 4);
  return bytes;
}

const MHZ_27 = 27e6;
const MS = 1e6;

test("TsTiming: given clock references each 40 ms that come 0 to 3 ms late, then the jitter is 3 ms", () => {
  const timing = new TsTiming();
  for (let i = 0; i < 20; i++) timing.record(clocked(0x100, 0, i * 0.04 * MHZ_27), 0, 188, i * 40 * MS + (i % 4) * MS);
  const times = timing.take();
  expect(times).toMatchObject({ pcrs: 20, pcrOverdue: 0, pcrJumps: 0, pcrLongestNs: 41 * MS });
  expect(times.pcrJitterNs).toBe(3 * MS);
});

test("TsTiming: given a clock whose 33 bits begin anew, then it goes on", () => {
  const timing = new TsTiming();
  const wrap = 2 ** 33 * 300;
  for (let i = 0; i < 5; i++)
    timing.record(clocked(0x100, 0, (wrap - 0.06 * MHZ_27 + i * 0.04 * MHZ_27) % wrap), 0, 188, i * 40 * MS);
  expect(timing.take()).toMatchObject({ pcrJumps: 0, pcrJitterNs: 0 });
});

test("TsTiming: given a clock that jumps, then an error is counted unless the jump was announced", () => {
  for (const [isAnnounced, jumps] of [
    [false, 1],
    [true, 0],
  ] as const) {
    const timing = new TsTiming();
    timing.record(clocked(0x100, 0, 0), 0, 188, 0);
    timing.record(clocked(0x100, 1, 0.04 * MHZ_27), 0, 188, 40 * MS);
    timing.record(clocked(0x100, 2, 900 * MHZ_27, isAnnounced), 0, 188, 80 * MS);
    timing.record(clocked(0x100, 3, 900.04 * MHZ_27), 0, 188, 120 * MS);
    expect(timing.take()).toMatchObject({ pcrJumps: jumps, pcrJitterNs: 0 });
  }
});

test("TsTiming: given references 150 ms apart, then they are overdue (ETSI TR 101 290, 2.3a, from memory)", () => {
  const timing = new TsTiming();
  for (let i = 0; i < 4; i++) timing.record(clocked(0x100, 0, i * 0.15 * MHZ_27), 0, 188, i * 150 * MS);
  expect(timing.take()).toMatchObject({ pcrOverdue: 3, pcrJumps: 0 });
});

test("TsTiming: given two programs, then the map that comes too rarely is told", () => {
  const timing = new TsTiming();
  for (let i = 0; i < 10; i++) {
    timing.record(pat(i, [0x100, 0x200]), 0, 188, i * 200 * MS);
    timing.record(pmtStart(0x100, i), 0, 188, i * 200 * MS);
    if (i % 5 === 0) timing.record(pmtStart(0x200, i), 0, 188, i * 200 * MS);
  }
  expect(timing.take()).toMatchObject({
    programs: 2,
    pats: 10,
    patLongestNs: 200 * MS,
    patOverdue: 0,
    pmts: 12,
    pmtLongestNs: 1000 * MS,
    pmtOverdue: 1,
  });
});

test("TsFlow: given a datagram lost between two, then the next one tells how many packets are missing", () => {
  const flow = new TsFlow();
  const datagram = (first: number): Uint8Array => {
    const bytes = new Uint8Array(7 * 188);
    for (let i = 0; i < 7; i++) bytes.set(packet(0x101, (first + i) & 15), i * 188);
    return bytes;
  };
  const missing = [0, 7, 21, 28].map((first, i) => flow.record(datagram(first), 0, 7 * 188, i * MS));
  expect(missing).toEqual([0, 0, 7, 0]);
  const counts = flow.take();
  expect(counts).toMatchObject({
    packets: 28,
    continuityErrors: 1,
    missingAtLeast: 7,
    pcrJitterNs: null,
    programs: null,
  });
  expect(mergeTsFlows(counts, { ...counts, pcrJitterNs: 5, programs: 2 })).toMatchObject({
    packets: 56,
    pcrJitterNs: 5,
    programs: 2,
  });
});
