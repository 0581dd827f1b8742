import { classifyPayload, emptyRtpHeader, RtpFollower, readRtpHeader } from "@dyetrace/measure";
import fc from "fast-check";
import { serialize } from "rtp-packet";
import { expect, test } from "vitest";
import { NOTHING_KNOWN, totalReceipt } from "./track-arrivals.ts";

// The packets are built by the npm package rtp-packet, so that writer and reader do not share a mistake.

test("RTP header: given the bytes of a plain packet, then its fields are read", () => {
  // RFC 3550, section 5.1: V2, payload type 33, sequence 65534, timestamp 1800
  const bytes = Uint8Array.from([0x80, 0x21, 0xff, 0xfe, 0, 0, 7, 8, 0x12, 0x34, 0x56, 0x78]);
  const header = emptyRtpHeader();
  expect(readRtpHeader(bytes, 0, 12, header)).toBe(true);
  expect(header).toEqual({
    payloadType: 33,
    isMarker: false,
    seq: 65534,
    timestamp: 1800,
    ssrc: 0x12345678,
    payloadAt: 12,
    payloadBytes: 0,
  });
});

test("RTP header: given 2 CSRC, a marker and an extension of 3 words, then the payload is at 36", () => {
  // RFC 3550, sections 5.1 and 5.3.1: 12 + 8 + 4 + 12
  const bytes = new Uint8Array(40);
  bytes.set([0x92, 0xa1]);
  bytes.set([0xbe, 0xde, 0, 3], 20);
  const header = emptyRtpHeader();
  expect(readRtpHeader(bytes, 0, 40, header)).toBe(true);
  expect(header).toMatchObject({ payloadType: 33, isMarker: true, payloadAt: 36, payloadBytes: 4 });
});

test("RTP header: given any packet of rtp-packet, then every field is read back", () => {
  fc.assert(
    fc.property(
      fc.record({
        payloadType: fc.integer({ min: 0, max: 71 }),
        sequenceNumber: fc.integer({ min: 0, max: 65_535 }),
        timestamp: fc.integer({ min: 0, max: 0xffffffff }),
        ssrc: fc.integer({ min: 0, max: 0xffffffff }),
        marker: fc.boolean(),
        csrc: fc.array(fc.integer({ min: 0, max: 0xffffffff }), { maxLength: 15 }),
        extension: fc.option(fc.uint8Array({ minLength: 1, maxLength: 16 }), { nil: null }),
        payload: fc.uint8Array({ maxLength: 100 }),
        paddingBytes: fc.integer({ min: 0, max: 20 }),
      }),
      ({ extension, payload, paddingBytes, ...fields }) => {
        const padded = new Uint8Array(payload.length + paddingBytes);
        padded.set(payload);
        if (paddingBytes > 0) padded[padded.length - 1] = paddingBytes;
        const bytes = serialize({
          ...fields,
          padding: paddingBytes > 0,
          ...(extension === null ? {} : { extensions: { 1: extension } }),
          payload: padded,
        });
        const header = emptyRtpHeader();
        expect(readRtpHeader(bytes, 0, bytes.length, header)).toBe(true);
        expect(header).toMatchObject({
          payloadType: fields.payloadType,
          isMarker: fields.marker,
          seq: fields.sequenceNumber,
          timestamp: fields.timestamp,
          ssrc: fields.ssrc,
          payloadBytes: payload.length,
        });
        expect([...bytes.subarray(header.payloadAt, header.payloadAt + header.payloadBytes)]).toEqual([...payload]);
      },
    ),
  );
});

test("RTP header: given any bytes, then reading never throws and the payload lies within them", () => {
  fc.assert(
    fc.property(fc.uint8Array({ maxLength: 64 }), (bytes) => {
      const header = emptyRtpHeader();
      if (!readRtpHeader(bytes, 0, bytes.length, header)) return;
      expect(header.payloadAt + header.payloadBytes).toBeLessThanOrEqual(bytes.length);
    }),
    { numRuns: 2000 },
  );
});

interface Sent {
  readonly seq: number;
  readonly arrivalMs: number;
  readonly timestamp: number;
  readonly ssrc?: number;
  readonly payloadType?: number;
}

function follow(packets: readonly Sent[], clockHz: number | null = null) {
  const follower = new RtpFollower({ clockHz });
  const recorded = packets.map(({ seq, arrivalMs, timestamp, ssrc, payloadType }) => {
    const bytes = serialize({
      payloadType: payloadType ?? 33,
      sequenceNumber: seq,
      timestamp: timestamp >>> 0,
      ssrc: ssrc ?? 0xcafe,
      payload: new Uint8Array(1316),
    });
    return follower.record(bytes, 0, bytes.length, Math.round(arrivalMs * 1e6), 8, 34);
  });
  return { recorded, last: follower.finish() };
}

/** Every 20 ms, 1800 ticks of 90 kHz. */
const steady = (first: number, count: number, beginMs = 0): Sent[] =>
  Array.from({ length: count }, (_, i) => ({
    seq: (first + i) % 65_536,
    arrivalMs: beginMs + 20 * i,
    timestamp: 1800 * i,
  }));

test("RTP following: given a steady stream across a wrap with 3 packets missing, then those 3 are lost", () => {
  const packets = steady(65_500, 200).filter((_, i) => i < 50 || i > 52);
  const { last } = follow(packets);
  const total = totalReceipt(last.receipt, NOTHING_KNOWN);
  expect(total).toMatchObject({ received: 196, lost: 3, senderRestarts: 0, jitterMs: 0 });
  expect(total.gaps.map((gap) => [gap.firstSeq % 65_536, gap.count])).toEqual([[14, 3]]);
  expect(last).toMatchObject({ probationPackets: 1, rejectedPackets: 0, payloadType: 33, clockHz: 90_000 });
});

test("RTP following: given a late packet and a copy across the wrap, then they hide no loss, as they do in RFC 3550 A.3", () => {
  // Numbers 65533 on; 65535 late, 1 twice, 3 missing. The subtraction of A.3 would give 0 lost.
  const order = [65_532, 65_533, 65_534, 0, 65_535, 1, 1, 2, 4, 5];
  const packets = order.map((seq, i) => ({ seq, arrivalMs: 20 * i, timestamp: 1800 * i }));
  expect(totalReceipt(follow(packets).last.receipt, NOTHING_KNOWN)).toMatchObject({
    lost: 1,
    duplicates: 1,
    reordered: 1,
    reorderExtentMax: 1,
  });
});

test("RTP following: given numbers that start anew at 40000, then nothing is lost across the jump", () => {
  const packets = [...steady(100, 50), ...steady(40_000, 50, 2000)];
  const { recorded, last } = follow(packets);
  expect(recorded[50]).toBe("rejected");
  expect(last.receipt).toMatchObject({ lost: 0, senderRestarts: 1, firstCopies: 49 + 49 });
});

test("RTP following: given a new SSRC after the old one fell silent, then it is followed on", () => {
  const packets = [...steady(100, 50), ...steady(7, 50, 2000).map((packet) => ({ ...packet, ssrc: 0xbeef }))];
  const { last } = follow(packets);
  expect(last.receipt).toMatchObject({ lost: 0, senderRestarts: 1, otherSenderPackets: 0 });
  expect(last.receipt.spans.map((span) => span.senderId)).toEqual([0xcafe, 0xbeef]);
});

test("RTP following: given two SSRCs at once, then the first is measured and the second counted", () => {
  const second = steady(30_000, 100).map((packet) => ({ ...packet, arrivalMs: packet.arrivalMs + 7, ssrc: 0xbeef }));
  const packets = [...steady(100, 101), ...second].sort((a, b) => a.arrivalMs - b.arrivalMs);
  const { last } = follow(packets);
  expect(last.receipt).toMatchObject({ lost: 0, senderRestarts: 0, firstCopies: 100, otherSenderPackets: 99 });
});

test("RTP following: given the jitter series with a timestamp that wraps, then jitter is that of RFC 3550 6.4.1", () => {
  // The series and its value in ms are those of jitter.test.ts, from the formula.
  const arrivalMs = [5, 25, 47, 66, 85, 109, 125, 152, 165, 185];
  const packets = [-15, ...arrivalMs].map((ms, i) => ({
    seq: i,
    arrivalMs: ms + 100,
    timestamp: 0xffffffff - 5000 + 1800 * i,
  }));
  const { last } = follow(packets);
  expect((last.receipt.jitterNs ?? 0) / 1e6).toBeCloseTo(1.361049, 4);
});

test("RTP following: given a dynamic payload type, then jitter is unknown unless the clock is given", () => {
  const packets = steady(100, 50).map((packet) => ({ ...packet, payloadType: 97 }));
  expect(follow(packets).last).toMatchObject({ clockHz: null, receipt: { jitterNs: null, jitterMaxNs: null } });
  expect(follow(packets, 90_000).last).toMatchObject({ clockHz: 90_000, receipt: { jitterNs: 0 } });
});

test("payload kinds: given packets of rtp-packet with and without a transport stream, then they are told apart", () => {
  const transportStream = new Uint8Array(1316);
  for (let at = 0; at < 1316; at += 188) transportStream[at] = 0x47;
  const header = { payloadType: 33, sequenceNumber: 1, timestamp: 0, ssrc: 1 };
  expect(classifyPayload(serialize({ ...header, payload: transportStream }))).toBe("rtp-with-ts");
  expect(classifyPayload(serialize({ ...header, payload: new Uint8Array(160) }))).toBe("rtp");
  expect(classifyPayload(transportStream)).toBe("ts");
  expect(classifyPayload(transportStream.subarray(0, 1315))).toBe("other");
  expect(classifyPayload(new Uint8Array(0))).toBe("other");
});
