import { RtpSequence, type RtpSequenceVerdict, rtpFractionLost } from "@dyetrace/measure";
import { expect, test } from "vitest";

// RFC 3550, appendices A.1 and A.3: results computed from the code printed there.

function feed(...seqs: readonly number[]): { readonly source: RtpSequence; readonly verdicts: RtpSequenceVerdict[] } {
  const source = new RtpSequence(seqs[0] ?? 0);
  return { source, verdicts: seqs.map((seq) => source.update(seq)) };
}

const wrap = [65532, 65533, 65534, 0, 1] as const;

test.each([
  {
    name: "a wrap",
    seqs: wrap,
    after: { baseSeq: 65533, cycles: 65536, extendedMax: 65537, expected: 5, received: 4, lost: 1 },
  },
  { name: "a late packet across the wrap", seqs: [...wrap, 65535], after: { cycles: 65536, received: 5, lost: 0 } },
  { name: "a copy", seqs: [...wrap, 65535, 1], after: { received: 6, lost: -1 } },
  {
    name: "a gap",
    seqs: [...wrap, 65535, 1, 5],
    after: { extendedMax: 65541, expected: 9, received: 7, lost: 2 },
  },
  { name: "a restart", seqs: [100, 101, 102, 40000, 40001, 40002], after: { baseSeq: 40001, received: 2, lost: 0 } },
  { name: "a jump of 2999", seqs: [100, 101, 3100], after: { expected: 3000, received: 2, lost: 2998 } },
  { name: "a jump of 3000", seqs: [100, 101, 3101], after: { expected: 1, received: 1 } },
])("RTP sequence: given $name, then base, cycles and counts are those of RFC 3550 A.1 and A.3", ({ seqs, after }) => {
  expect(feed(...seqs).source.statistics).toMatchObject(after);
});

test("RTP sequence: given the first packet of a source, then it only opens the probation", () => {
  expect(feed(7, 8, 9).verdicts).toEqual(["probation", "accepted", "accepted"]);
  expect(feed(7, 20, 21).verdicts).toEqual(["probation", "probation", "accepted"]);
});

test("RTP sequence: given numbers 99 and 100 behind, then the first is taken for late and the second is rejected", () => {
  expect(feed(1000, 1001, 902).verdicts.at(-1)).toBe("accepted");
  expect(feed(1000, 1001, 901).verdicts.at(-1)).toBe("rejected"); // the code; the prose says "no more than 100"
});

test("RTP sequence: given a restart, then the first far number is rejected and the next one followed", () => {
  expect(feed(100, 101, 40000, 40001, 40002).verdicts.slice(2)).toEqual(["rejected", "resynchronised", "accepted"]);
});

test("RTP sequence: given packets around a wrap, then each has its extended number", () => {
  const source = new RtpSequence(65533);
  const extended = [65533, 65534, 0, 65535, 1].map((seq) => {
    source.update(seq);
    return source.extended;
  });
  expect(extended.slice(1)).toEqual([65534, 65536, 65535, 65537]);
});

test.each([
  [1, 10, 25],
  [3, 64, 12],
  [25, 100, 64],
  [-1, 10, 0],
  [0, 0, 0],
])("RTP fraction lost: given %i of %i lost, then it is %i", (lost, expected, fraction) => {
  expect(rtpFractionLost(lost, expected)).toBe(fraction);
});
