import type { Readable } from "node:stream";
import type { ConsoleEvent } from "@dyetrace/wire/console/console-event";
import { afterEach, expect, test } from "vitest";
import { ConsoleHub } from "./console-hub.ts";

/** As much as a plan of a large site and its drawing. */
const LARGE = { kind: "plan", plan: "x".repeat(1024 * 1024) } as unknown as ConsoleEvent;

let hub: ConsoleHub;
/** As the connection does it that reads it. */
function open(): Readable {
  const stream: Readable = hub.open(() => stream.destroy());
  return stream;
}
afterEach(() => hub.close());

test("ConsoleHub: given 800 consoles that never read and 12 plans of a megabyte, then they hold some 20 MB, and one that reads is told all", async () => {
  hub = new ConsoleHub(() => LARGE);
  global.gc?.();
  const before = process.memoryUsage();
  const idle = Array.from({ length: 400 }, () => open());
  const reader = open();
  let read = 0;
  reader.on("data", (part: Buffer) => {
    read += part.length;
  });
  await new Promise((resolve) => setImmediate(resolve)); // it has read its hello
  idle.push(...Array.from({ length: 400 }, () => open()));
  for (let i = 0; i < 12; i++) {
    hub.tell(LARGE);
    await new Promise((resolve) => setImmediate(resolve));
  }
  const { arrayBuffers, external } = process.memoryUsage();
  expect(arrayBuffers - before.arrayBuffers).toBeLessThan(40e6);
  expect(external - before.external).toBeLessThan(40e6);
  expect(reader.destroyed).toBe(false);
  expect(read).toBeGreaterThan(13 * 1024 * 1024);
  expect(idle.filter(({ destroyed }) => !destroyed).length).toBeLessThan(65);
});

test("ConsoleHub: given many that have just come, then those above the most are cut, and the hello is made once until something happens", () => {
  let asked = 0;
  hub = new ConsoleHub(() => {
    asked++;
    return { kind: "beat" };
  });
  const streams = Array.from({ length: 300 }, () => open());
  expect(streams.filter(({ destroyed }) => !destroyed)).toHaveLength(256);
  expect(asked).toBe(1);
  hub.tell({ kind: "beat" });
  open();
  expect(asked).toBe(2);
});
