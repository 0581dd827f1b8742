import { expect, test } from "vitest";
import { ConductorFence } from "./conductor-fence.ts";

const RUN = "0123456789abcdef";

test("an order of an earlier epoch is refused, one of the same or a later epoch is taken", () => {
  const fence = new ConductorFence();
  expect([2, 2, 3, 2, 1].map((epoch) => fence.admits(RUN, epoch))).toEqual([true, true, true, false, false]);
  // To end what nobody conducts, a controller names no epoch.
  expect(fence.admits(RUN, undefined)).toBe(true);
  expect(fence.admits("another", 1)).toBe(true);
});

test("only the words of whoever conducts the run keep its sources going", () => {
  const fence = new ConductorFence();
  fence.admits(RUN, 1);
  expect(fence.counts(RUN, 8)).toBe(true);
  fence.heard({ kind: "beat", conducts: [] });
  expect(fence.counts(RUN, 8)).toBe(false);
  fence.heard({ kind: "beat", conducts: [{ runId: RUN, epoch: 1 }] });
  expect(fence.counts(RUN, 8)).toBe(true);
  fence.newLink();
  expect(fence.counts(RUN, 8)).toBe(false);
  // A controller that was overtaken says that it conducts the run still.
  fence.admits(RUN, 2);
  fence.heard({ kind: "beat", conducts: [{ runId: RUN, epoch: 1 }] });
  expect(fence.counts(RUN, 8)).toBe(false);
});

test("a controller of an earlier protocol says nothing of whom it conducts: all its words count, as ever", () => {
  const fence = new ConductorFence();
  expect(fence.counts(RUN, 7)).toBe(true);
  fence.heard({ kind: "beat" });
  expect(fence.counts(RUN, 7)).toBe(true);
  expect(fence.counts(null, 8)).toBe(true);
});

test("of runs long past nothing is kept, and the newest are", () => {
  const fence = new ConductorFence();
  for (let run = 0; run < 200; run++) fence.admits(`run ${run}`, 5);
  expect(fence.admits("run 199", 4)).toBe(false);
  expect(fence.admits("run 0", 4)).toBe(true);
});
