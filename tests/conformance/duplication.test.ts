import { expect, test } from "vitest";
import { NOTHING_KNOWN, totalReceipt, trackOrder } from "./track-arrivals.ts";

test.each([
  { source: "RFC 5560, section 5", order: [1, 2, 3, 4], fraction: 0, rate: 0 },
  { source: "RFC 5560, section 5", order: [1, 1, 2, 2, 3, 3, 4, 4], fraction: 1, rate: 1 },
  { source: "RFC 5560, section 5: the order is irrelevant", order: [1, 2, 3, 4, 4, 2, 1, 3], fraction: 1, rate: 1 },
  { source: "RFC 5560, section 5", order: [1, 2, 3, 4, 1, 2, 3, 4, 1, 2, 3, 4], fraction: 2, rate: 1 },
  { source: "RFC 5560, section 5", order: [1, 1, 1, 2, 3, 3, 3, 4], fraction: 1, rate: 0.5 },
  { source: "by its formula", order: [1, 2, 2, 3], fraction: 1 / 3, rate: 1 / 3 },
  { source: "by its formula: lost packets are removed first", order: [1, 2, 2, 5], fraction: 1 / 3, rate: 1 / 3 },
])("duplication: given arrivals $order, then fraction and rate are $fraction and $rate ($source)", (example) => {
  expect(totalReceipt(trackOrder(...example.order), NOTHING_KNOWN)).toMatchObject({
    duplicateRatio: example.fraction,
    replicatedRatio: example.rate,
  });
});
