import { expect, test } from "vitest";
import { SharedControl } from "./shared-control.ts";

test("SharedControl: given two views of one memory, then what one hears the other knows", () => {
  const here = new SharedControl();
  const there = new SharedControl(here.memory);
  here.reset(1_000e6);
  expect(there.silentNs(1_000e6)).toBe(0);
  expect(there.silentNs(3_500e6)).toBe(2_500e6);
  here.hear(3_500e6);
  expect(there.silentNs(3_500e6)).toBe(0);
  expect(there.isAborted).toBe(false);
  here.abort();
  expect(there.isAborted).toBe(true);
  here.reset(4_000e6);
  expect(there.isAborted).toBe(false);
});

test("SharedControl: given a host that has been up for 23 days and longer, then silence is told as ever", () => {
  const control = new SharedControl();
  for (const heardMs of [1_999_999_000, 2_000_000_500, 3_999_999_999, 9_000_000_001]) {
    control.hear(heardMs * 1e6);
    expect(control.silentNs((heardMs + 4000) * 1e6)).toBe(4000e6);
  }
});
