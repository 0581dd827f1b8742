import { expect, test } from "vitest";
import { MinuteStrip } from "./minute-strip.ts";

const second = (packets: number, lost: number | null, kind: "test" | "ts" | "other" = "test") => ({
  kind,
  packets,
  bytes: packets * 1316,
  lost,
});

test("MinuteStrip: given rising loss and a silence, then each step is lower, and silence is a dot", () => {
  const strip = new MinuteStrip();
  for (const [packets, lost] of [
    [1000, 0],
    [9995, 5], // 0.05 %
    [995, 5], // 0.5 %
    [950, 50], // 5 %
    [500, 500],
    [0, 0],
  ] as const)
    strip.add(second(packets, lost));
  expect(strip.draw()).toBe("█▆▅▃▁·");
});

test("MinuteStrip: given no numbers, then the height is the rate against the minute's highest", () => {
  const strip = new MinuteStrip();
  for (const packets of [100, 50, 1, 0]) strip.add(second(packets, null, "other"));
  expect(strip.draw()).toBe("█▅▁·");
});

test("MinuteStrip: given a transport stream, then loss is a share of its own packets, seven to these datagrams", () => {
  const strip = new MinuteStrip();
  strip.add(second(100, 6, "ts")); // 6 of 706: below 1 %, though 6 of 106 would be more
  expect(strip.draw()).toBe("▅");
});

test("MinuteStrip: given more than a minute, then the oldest seconds go", () => {
  const strip = new MinuteStrip();
  strip.add(second(0, 0));
  for (let i = 0; i < 60; i++) strip.add(second(10, 0));
  expect(strip.draw()).toBe("█".repeat(60));
});
