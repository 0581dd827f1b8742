import { afterEach, beforeEach, expect, test, vi } from "vitest";
import type { PracticeFault } from "../faults/practice-fault.ts";
import { playPracticeFaults } from "./play-practice-faults.ts";

const fault = (on: string, atMs: number | null, untilMs: number | null): PracticeFault => ({
  fault: "snooping-off",
  on,
  atMs,
  untilMs,
});

/** Writes down what is asked of it, with the time. */
function recordingSite(failOn?: string) {
  const startedAt = performance.now();
  const calls: string[] = [];
  const record = (call: string) => async (faults: readonly PracticeFault[]) => {
    for (const { on } of faults) {
      calls.push(`${performance.now() - startedAt} ${call} ${on}`);
      if (on === failOn) throw new Error(`cannot ${call} ${on}`);
    }
  };
  return { calls, inject: record("inject"), lift: record("lift") };
}

beforeEach(() => void vi.useFakeTimers());
afterEach(() => void vi.useRealTimers());

test("playPracticeFaults: given times, then standing faults come first, each other at its time, and stop takes out what stands", async () => {
  const site = recordingSite();
  const faults = [
    fault("a", null, null),
    fault("b", 1_000, 3_000),
    fault("c", null, 2_000),
    fault("d", 4_000, null),
    fault("e", 9_000, null),
  ];
  const play = await playPracticeFaults(site, faults);
  await vi.advanceTimersByTimeAsync(5_000);
  await play.stop();
  await vi.advanceTimersByTimeAsync(10_000);
  expect(site.calls).toEqual([
    "0 inject a",
    "0 inject c",
    "1000 inject b",
    "2000 lift c",
    "3000 lift b",
    "4000 inject d",
    "5000 lift a",
    "5000 lift d",
  ]);
});

test("playPracticeFaults: given one that fails at its time, then the caller hears at once, the others go on, and stop throws it", async () => {
  const site = recordingSite("b");
  const heard: unknown[] = [];
  const play = await playPracticeFaults(site, [fault("b", 1_000, 2_000), fault("c", 3_000, null)], (error) =>
    heard.push(error),
  );
  await vi.advanceTimersByTimeAsync(1_000);
  expect(heard).toHaveLength(1);
  await vi.advanceTimersByTimeAsync(4_000);
  await expect(play.stop()).rejects.toThrow("cannot inject b");
  expect(site.calls).toEqual(["1000 inject b", "3000 inject c", "5000 lift c"]);
});
