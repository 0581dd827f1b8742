import { layTestPacket } from "@dyetrace/wire";
import fc from "fast-check";
import { expect, test } from "vitest";
import { classifyPayload } from "./classify-payload.ts";

test("classifyPayload: given a packet as the wire package lays it out, then it is a test packet", () => {
  const frame = new DataView(new ArrayBuffer(96));
  const identity = { runId: "0123456789abcdef", streamId: 0, senderId: 0, intervalNs: 1, ttl: 1, dscp: 0 };
  layTestPacket(frame, 0, 96, { ...identity, isCompanion: false, contact: "" });
  expect(classifyPayload(new Uint8Array(frame.buffer))).toBe("test");
});

test("classifyPayload: given a sender report of RTCP, then it is not RTP", () => {
  // RFC 3550, section 6.4.1: packet type 200
  const report = new Uint8Array(28);
  report.set([0x80, 200, 0, 6]);
  expect(classifyPayload(report)).toBe("other");
});

test("classifyPayload: given any bytes, then it answers and does not throw", () => {
  fc.assert(
    fc.property(fc.uint8Array({ maxLength: 400 }), (bytes) => {
      expect(["test", "rtp", "rtp-with-ts", "ts", "other"]).toContain(classifyPayload(bytes));
    }),
    { numRuns: 1000 },
  );
});
