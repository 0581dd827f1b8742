import fc from "fast-check";
import { expect, test } from "vitest";
import { mergeReceipts } from "./merge-receipts.ts";
import type { StreamReceipt } from "./stream-receipt.ts";
import { StreamTracker } from "./stream-tracker.ts";

/** One packet as the tracker takes it, or the news of host drops. */
type Event =
  | {
      readonly kind: "packet";
      readonly seq: number;
      readonly sentNs: number;
      readonly arrivalNs: number;
      readonly sizeBytes: number;
      readonly senderId: number;
      readonly ttl: number;
      readonly dscp: number;
    }
  | { readonly kind: "drops"; readonly drops: number; readonly arrivalNs: number };

/** What may happen around one sent packet. */
const step = fc.record({
  intervalNs: fc.oneof({ weight: 8, arbitrary: fc.constant(1e6) }, fc.integer({ min: 0, max: 6e8 })),
  skipped: fc.oneof(
    { weight: 8, arbitrary: fc.constant(0) },
    fc.integer({ min: 1, max: 40 }),
    fc.integer({ min: 3900, max: 9000 }),
  ),
  copies: fc.oneof({ weight: 8, arbitrary: fc.constant(1) }, fc.integer({ min: 0, max: 3 })),
  delayNs: fc.oneof({ weight: 8, arbitrary: fc.integer({ min: 0, max: 1e5 }) }, fc.integer({ min: 0, max: 25e8 })),
  sizeBytes: fc.integer({ min: 96, max: 1472 }),
  drops: fc.oneof({ weight: 20, arbitrary: fc.constant(0) }, fc.integer({ min: 1, max: 50 })),
  sender: fc.oneof({ weight: 30, arbitrary: fc.constant("same" as const) }, fc.constantFrom("restart", "second")),
  ttl: fc.constantFrom(-1, 7, 8),
  dscp: fc.constantFrom(-1, 0, 34),
});

const reception = fc.array(step, { minLength: 1, maxLength: 300, size: "max" }).map((steps): Event[] => {
  const events: Event[] = [];
  let sentNs = 5e9;
  let seq = 1000;
  let senderId = 1;
  for (const one of steps) {
    sentNs += one.intervalNs;
    seq += one.skipped;
    if (one.sender === "restart") {
      senderId += 1;
      seq = 0;
      sentNs += 3e8;
    }
    for (let copy = 0; copy < one.copies; copy++) {
      const { sizeBytes, ttl, dscp } = one;
      const arrivalNs = sentNs + one.delayNs * (copy + 1);
      if (one.drops > 0) events.push({ kind: "drops", drops: one.drops, arrivalNs });
      const id = one.sender === "second" ? 1000 : senderId;
      events.push({ kind: "packet", seq, sentNs, arrivalNs, sizeBytes, senderId: id, ttl, dscp });
    }
    seq += 1;
  }
  return events.sort((a, b) => a.arrivalNs - b.arrivalNs);
});

function measure(events: readonly Event[], cutBefore: ReadonlySet<number>): StreamReceipt[] {
  const tracker = new StreamTracker({ mediaRateBps: 8e6, seesHostDrops: true });
  const receipts: StreamReceipt[] = [];
  for (const [i, event] of events.entries()) {
    if (cutBefore.has(i)) receipts.push(tracker.cut());
    if (event.kind === "drops") tracker.noteHostDrops(event.drops, event.arrivalNs);
    else {
      const { seq, sentNs, arrivalNs, sizeBytes, senderId, ttl, dscp } = event;
      tracker.record(seq, sentNs, arrivalNs, sizeBytes, senderId, ttl, dscp);
    }
  }
  receipts.push(tracker.finish());
  return receipts;
}

const mergeAll = (receipts: readonly StreamReceipt[]): StreamReceipt => receipts.reduce(mergeReceipts);

test("mergeReceipts: given any reception and any cuts, then the merge equals the uncut tracker's receipt", () => {
  const met = new Map<keyof StreamReceipt, number>(
    (
      [
        "lost",
        "hostLost",
        "duplicates",
        "duplicatedPackets",
        "reordered",
        "latePackets",
        "senderRestarts",
        "otherSenderPackets",
        "mediaLossMaxPps",
      ] as const
    ).map((name) => [name, 0]),
  );
  fc.assert(
    fc.property(reception, fc.array(fc.nat({ max: 400 })), (events, cuts) => {
      const whole = mergeAll(measure(events, new Set()));
      expect(mergeAll(measure(events, new Set(cuts)))).toEqual(whole);
      for (const name of met.keys()) met.set(name, (met.get(name) ?? 0) + Number(whole[name] ?? 0));
    }),
    { numRuns: 500 },
  );
  // The receptions held everything that a merge has to get right.
  for (const [name, count] of met) expect.soft(count, name).toBeGreaterThan(0);
});

test("mergeReceipts: given three consecutive receipts, then the order of merging does not matter", () => {
  fc.assert(
    fc.property(reception, fc.nat({ max: 200 }), fc.nat({ max: 200 }), (events, first, second) => {
      const [a, b, c] = measure(events, new Set([first, second]));
      if (a === undefined || b === undefined || c === undefined) return;
      expect(mergeReceipts(a, mergeReceipts(b, c))).toEqual(mergeReceipts(mergeReceipts(a, b), c));
    }),
    { numRuns: 300 },
  );
});

test("mergeReceipts: given receipts that went through JSON, then the merge is the same", () => {
  fc.assert(
    fc.property(reception, fc.array(fc.nat({ max: 400 })), (events, cuts) => {
      const receipts = measure(events, new Set(cuts));
      const copies = receipts.map((receipt): StreamReceipt => JSON.parse(JSON.stringify(receipt)));
      expect(mergeAll(copies)).toEqual(mergeAll(receipts));
    }),
    { numRuns: 100 },
  );
});
