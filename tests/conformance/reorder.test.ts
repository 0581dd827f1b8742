import { mergeReceipts } from "@dyetrace/measure";
import { expect, test } from "vitest";
import { NOTHING_KNOWN, totalReceipt, trackEach } from "./track-arrivals.ts";

interface Example {
  readonly source: string;
  readonly order: readonly number[];
  readonly arrivalMs?: readonly number[];
  /** Sequence number, extent (section 4.2.3) and late time offset (section 4.3.3) of each reordered packet. */
  readonly reordered: readonly (readonly [seq: number, extent: number, lateMs?: number])[];
  readonly ratio: number;
  readonly lost?: number;
}

const examples: readonly Example[] = [
  {
    source: "RFC 4737, section 7.1",
    order: [1, 2, 3, 5, 6, 7, 8, 4, 9, 10],
    arrivalMs: [68, 88, 108, 148, 168, 188, 208, 210, 228, 248],
    reordered: [[4, 4, 62]],
    ratio: 1 / 10,
  },
  {
    source: "RFC 4737, section 7.2",
    order: [1, 2, 3, 4, 7, 5, 6, 8, 9, 10],
    arrivalMs: [68, 88, 108, 128, 188, 189, 190, 208, 228, 248],
    reordered: [
      [5, 1, 1],
      [6, 2, 2],
    ],
    ratio: 2 / 10,
  },
  {
    source: "RFC 4737, section 7.3",
    order: [1, 2, 3, 7, 8, 9, 10, 4, 5, 6, 11],
    arrivalMs: [68, 88, 108, 188, 208, 228, 248, 250, 252, 256, 268],
    reordered: [
      [4, 4, 62],
      [5, 5, 64],
      [6, 6, 68],
    ],
    ratio: 3 / 11,
  },
  {
    source: "RFC 4737, section 7.4",
    order: [1, 2, 3, 6, 7, 4, 5, 8, 9, 10, 12, 13, 11, 14, 15, 16],
    reordered: [
      [4, 2],
      [5, 3],
      [11, 2],
    ],
    ratio: 3 / 16,
  },
  {
    source: "RFC 4737, section 5.3, note",
    order: [1, 2, 3, 7, 8, 9, 4, 5, 6],
    reordered: [
      [4, 3],
      [5, 4],
      [6, 5],
    ],
    ratio: 3 / 9,
  },
  {
    source: "computed by hand from sections 3.3 and 4.2.3: neighbours swapped",
    order: [1, 3, 2, 5, 4],
    reordered: [
      [2, 1],
      [4, 1],
    ],
    ratio: 2 / 5,
  },
  {
    source: "computed by hand from sections 3.3 and 4.2.3: all in reverse",
    order: [5, 4, 3, 2, 1],
    reordered: [
      [4, 1],
      [3, 2],
      [2, 3],
      [1, 4],
    ],
    ratio: 4 / 5,
  },
  {
    source: "computed by hand from sections 3.3 and 4.2.3: 6 and 7 lost",
    order: [1, 2, 4, 5, 3, 9, 8],
    reordered: [
      [3, 2],
      [8, 1],
    ],
    ratio: 2 / 7,
    lost: 2,
  },
];

for (const example of examples) {
  test(`reordering: given the order ${example.order.join(" ")}, then extents and late times are those of ${example.source}`, () => {
    const arrivals = example.order.map((seq, i) => ({ seq, arrivalMs: example.arrivalMs?.[i] ?? i }));
    const receipts = trackEach(arrivals);
    const seen = receipts.flatMap((receipt, i) =>
      receipt.reordered === 1 ? [[example.order[i], receipt.reorderExtentMax, receipt.reorderLateMaxNs / 1e6]] : [],
    );
    // Without times of their own packets are a millisecond apart, so the late time is the extent in milliseconds.
    expect(seen).toEqual(example.reordered.map(([seq, extent, lateMs]) => [seq, extent, lateMs ?? extent]));
    const extents = example.reordered.map(([, extent]) => extent);
    expect(totalReceipt(receipts.reduce(mergeReceipts), NOTHING_KNOWN)).toMatchObject({
      reorderedRatio: example.ratio,
      reorderExtentMax: Math.max(...extents),
      reorderExtentMean: extents.reduce((sum, extent) => sum + extent, 0) / extents.length,
      lost: example.lost ?? 0,
    });
  });
}

test("reordering: given packets with copies, then the ratio counts first copies only", () => {
  // RFC 4737, section 4.1.3: only the first copy counts
  const receipts = trackEach([1, 1, 3, 2, 2, 3].map((seq) => ({ seq })));
  expect(totalReceipt(receipts.reduce(mergeReceipts), NOTHING_KNOWN)).toMatchObject({
    reordered: 1,
    reorderedRatio: 1 / 3,
    reorderExtentMax: 1,
    duplicates: 3,
  });
});
