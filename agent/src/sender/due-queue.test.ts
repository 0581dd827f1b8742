import fc from "fast-check";
import { expect, test } from "vitest";
import { DueQueue } from "./due-queue.ts";

const STREAMS = 12;
const command = fc.record({
  kind: fc.constantFrom("put" as const, "remove" as const),
  stream: fc.nat({ max: STREAMS - 1 }),
  dueNs: fc.nat({ max: 50 }),
});

test("DueQueue: given any puts, moves and removals, then the next is always the earliest, as a plain search finds it", () => {
  fc.assert(
    fc.property(fc.array(command, { maxLength: 200 }), (commands) => {
      const queue = new DueQueue(STREAMS);
      const plain = new Map<number, number>();
      for (const { kind, stream, dueNs } of commands) {
        if (kind === "put") {
          queue.put(stream, dueNs);
          plain.set(stream, dueNs);
        } else {
          queue.remove(stream);
          plain.delete(stream);
        }
        expect(queue.nextNs).toBe(Math.min(...plain.values()));
        if (plain.size === 0) expect(queue.next).toBe(-1);
        else expect(plain.get(queue.next)).toBe(queue.nextNs);
      }
    }),
  );
});
