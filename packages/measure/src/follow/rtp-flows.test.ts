import fc from "fast-check";
import { expect, test } from "vitest";
import { mergeReceipts } from "../merge-receipts.ts";
import { readNames } from "./name-block.ts";
import { ProductionFollower } from "./production-follower.ts";
import { RtpFlows } from "./rtp-flows.ts";

/** RFC 3550, section 5.1. */
function rtp(ssrc: number, seq: number, payloadType = 96): Uint8Array {
  const bytes = new Uint8Array(40);
  const view = new DataView(bytes.buffer);
  bytes.set([0x80, payloadType]);
  view.setUint16(2, seq & 0xffff);
  view.setUint32(4, seq * 3000);
  view.setUint32(8, ssrc);
  return bytes;
}

const feed = (flows: RtpFlows, ssrc: number, numbers: readonly number[], fromNs = 0): boolean[] =>
  numbers.map((seq, i) => flows.record(rtp(ssrc, seq), 0, 40, 40, fromNs + i * 1e6, 5, 0));
const run = (from: number, count: number): number[] => Array.from({ length: count }, (_, i) => from + i);

test("RtpFlows: given two sources in turn, then each is followed by its own numbers, from its third packet on", () => {
  const flows = new RtpFlows(false);
  for (let i = 0; i < 100; i++) {
    feed(flows, 1, [500 + i], i * 1e6);
    if (i !== 50) feed(flows, 2, [9000 + i], i * 1e6 + 1000);
  }
  const [first, second] = flows.cut(true);
  expect(first).toMatchObject({ ssrc: 1, packets: 98, receipt: { firstCopies: 98, lost: 0 } });
  expect(second).toMatchObject({ ssrc: 2, packets: 97, receipt: { firstCopies: 97, lost: 1 } });
});

test("RtpFlows: given numbers that begin anew after 65,535, then nothing is lost", () => {
  const flows = new RtpFlows(false);
  feed(flows, 1, run(65_500, 200));
  expect(flows.cut(true)[0]?.receipt).toMatchObject({ firstCopies: 198, lost: 0, senderRestarts: 0 });
});

test("RtpFlows: given a source that starts its numbers anew, then that is a restart and no loss", () => {
  const flows = new RtpFlows(false);
  feed(flows, 1, [...run(100, 300), ...run(30_000, 300)]);
  const [flow] = flows.cut(true);
  expect(flow?.receipt).toMatchObject({ lost: 0, senderRestarts: 1 });
  expect(flow?.rejected).toBe(1); // RFC 3550, appendix A.1: the first number far off is not believed
  expect(new Set(flow?.receipt.spans.map(({ senderId }) => senderId)).size).toBe(2);
});

test("RtpFlows: given an SSRC that never sends two numbers in a row, then it is no source", () => {
  const flows = new RtpFlows(false);
  expect(feed(flows, 1, [5, 9, 700, 3]).some(Boolean)).toBe(false);
  expect(flows.cut(true)).toEqual([]);
});

test("RtpFlows: given any cutting, then the merged receipts equal the uncut one", () => {
  fc.assert(
    fc.property(
      fc.uniqueArray(fc.nat(300), { maxLength: 50 }),
      fc.uniqueArray(fc.nat(300), { maxLength: 5 }),
      (lost, cuts) => {
        const numbers = run(65_400, 300).filter((_, i) => i < 3 || !lost.includes(i));
        const whole = new RtpFlows(false);
        feed(whole, 1, numbers);
        const cut = new RtpFlows(false);
        const parts = numbers.flatMap((seq, i) => {
          cut.record(rtp(1, seq), 0, 40, 40, i * 1e6, 5, 0);
          return cuts.includes(i) ? cut.cut(false) : [];
        });
        const merged = [...parts, ...cut.cut(true)].map(({ receipt }) => receipt).reduce(mergeReceipts);
        expect(merged).toEqual(whole.cut(true)[0]?.receipt);
      },
    ),
    { numRuns: 50 },
  );
});

test("ProductionFollower: given any bytes, then nothing is thrown and every packet is in one of its parts", () => {
  fc.assert(
    fc.property(
      fc.array(fc.uint8Array({ maxLength: 400 }), { maxLength: 40 }),
      fc.constantFrom("rtp" as const, "mpeg-ts" as const, "any" as const, null),
      (packets, format) => {
        const follower = new ProductionFollower(format, 64, false);
        for (const [i, bytes] of packets.entries())
          follower.take(bytes, 0, bytes.length, bytes.length, i * 1e6, -1, -1);
        const { rtp: flows, digest } = follower.cut(true);
        expect(flows.reduce((sum, one) => sum + one.packets, digest.packets)).toBe(packets.length);
      },
    ),
    { numRuns: 300 },
  );
});

test("RtpFlows: given one stray number far ahead, then nothing is lost by it", () => {
  const flows = new RtpFlows(false);
  feed(flows, 1, [...run(100, 50), 100 + 50 + 2048, ...run(150, 50)]);
  const [flow] = flows.cut(true);
  expect(flow?.receipt).toMatchObject({ lost: 0, firstCopies: 98, duplicates: 0 });
  expect(flow?.rejected).toBe(1);
});

test("RtpFlows: given a gap of 500 packets, then they are lost, and no more, though the next number is missing too", () => {
  const flows = new RtpFlows(false);
  feed(flows, 1, [...run(100, 50), 650, ...run(652, 60)]);
  expect(flows.cut(true)[0]).toMatchObject({ rejected: 0, receipt: { lost: 501, firstCopies: 48 + 61 } });
});

test("ProductionFollower: given datagrams of null packets alone among others, then they are no copies, and have no name", () => {
  const follower = new ProductionFollower(null, 100, false);
  const datagram = (pid: number, counter: number): Uint8Array => {
    const bytes = new Uint8Array(2 * 188).fill(0xff);
    for (const at of [0, 188]) bytes.set([0x47, pid >> 8, pid & 0xff, 0x10 | ((counter + at / 188) & 15)], at);
    return bytes;
  };
  for (const [i, [pid, counter]] of [
    [0x100, 0],
    [0x1fff, 0],
    [0x1fff, 0],
    [0x1fff, 0],
    [0x100, 2],
  ].entries()) {
    follower.take(datagram(pid ?? 0, counter ?? 0), 0, 376, 376, i * 1e6, 5, 0);
  }
  const { packets, names, ts } = follower.cut(true).digest;
  expect(packets).toBe(5);
  expect(ts).toMatchObject({ packets: 10, nullPackets: 6, repeatedDatagrams: 0, continuityErrors: 0 });
  expect(names === null ? [] : readNames(names).digests).toHaveLength(2);
});
