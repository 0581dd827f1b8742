import { mergeReceipts, type StreamReceipt, StreamTracker } from "@dyetrace/measure";
import { type StreamReceiptMessage, StreamReceiptSchema } from "@dyetrace/wire";
import { Value } from "typebox/value";
import { expect, test } from "vitest";

/** The measuring package's type and the schema's are the same, in both directions: a field in one alone does not compile. */
type Same<A, B> = [A] extends [B] ? ([B] extends [A] ? true : false) : false;
type Mutable<T> = T extends object ? { -readonly [K in keyof T]: Mutable<T[K]> } : T;
const isSame: Same<Mutable<StreamReceipt>, StreamReceiptMessage> = true;

function receive(seqs: readonly number[]): StreamReceipt {
  const tracker = new StreamTracker({ mediaRateBps: 8e6, seesHostDrops: true });
  let last: StreamReceipt | null = null;
  for (const [i, seq] of seqs.entries()) {
    if (i === 3) tracker.noteHostDrops(1, i * 3e8);
    tracker.record(seq, i * 3e8 - ((i * 7919) % 1000), i * 3e8, 1316, 0xffffffff, 3, 34);
    if (i % 4 === 3) {
      const receipt = tracker.cut();
      last = last === null ? receipt : mergeReceipts(last, receipt);
    }
  }
  const final = tracker.finish();
  return last === null ? final : mergeReceipts(last, final);
}

test.each([
  { name: "no packet", seqs: [] },
  { name: "loss, copies and reordering", seqs: [0, 1, 2, 7, 5, 8, 8, 40, 41, 42, 60, 61, 90, 91, 92, 130] },
  { name: "more gaps than a receipt holds one by one", seqs: Array.from({ length: 5000 }, (_, i) => 3 * i) },
])("receipt: given $name, then its JSON form meets the schema", ({ seqs }) => {
  const receipt = receive(seqs);
  const message: unknown = JSON.parse(JSON.stringify(receipt));
  expect(Value.Errors(StreamReceiptSchema, message)).toEqual([]);
  expect(message).toEqual(receipt);
  expect(isSame).toBe(true);
});

test("receipt: given a count below zero or a field too few, then it does not meet the schema", () => {
  const receipt = receive([0, 1, 2]);
  expect(Value.Check(StreamReceiptSchema, { ...receipt, lost: -1 })).toBe(false);
  const { spans: _, ...rest } = receipt;
  expect(Value.Check(StreamReceiptSchema, rest)).toBe(false);
});
