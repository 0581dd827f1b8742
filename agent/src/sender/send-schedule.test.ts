import fc from "fast-check";
import { expect, test } from "vitest";
import { packetIntervalNs, SendSchedule } from "./send-schedule.ts";

test("packetIntervalNs: given 8 Mbit/s in packets of 1316 B, then 1.316 ms", () => {
  expect(packetIntervalNs(8e6, 1316)).toBe(1_316_000); // 1316 B x 8 / 8 Mbit/s
});

test("SendSchedule: given a day of 8 Mbit/s, then the last packet is due where exact arithmetic puts it", () => {
  const schedule = new SendSchedule(5e14, 1_316_000, 1);
  const slot = 65_653_495; // the last one that is due within 86,400 s: floor(86400e9 / 1316000)
  expect(schedule.dueNs(slot)).toBe(Number(500_000_000_000_000n + BigInt(slot) * 1_316_000n));
  expect(schedule.dueSlots(5e14 + 86_400e9)).toBe(slot + 1);
});

test("SendSchedule: given bursts of 4, then four share each due time, and the mean rate stays", () => {
  const schedule = new SendSchedule(0, 10, 4);
  expect([0, 1, 2, 3, 4, 7, 8].map((slot) => schedule.dueNs(slot))).toEqual([0, 0, 0, 0, 40, 40, 80]);
  expect([-1, 0, 39, 40, 80].map((nowNs) => schedule.dueSlots(nowNs))).toEqual([0, 4, 4, 8, 12]);
});

test("SendSchedule: given any interval, then exactly the slots whose due time has come are due", () => {
  const interval = fc.double({ min: 1, max: 1e9, noNaN: true });
  fc.assert(
    fc.property(interval, fc.integer({ min: 1, max: 9 }), fc.nat({ max: 1e6 }), (intervalNs, burst, slot) => {
      const schedule = new SendSchedule(1e12, intervalNs, burst);
      const dueSlots = schedule.dueSlots(schedule.dueNs(slot));
      expect(dueSlots).toBeGreaterThan(slot); // a slot is due at its due time, or the thread would spin
      expect(schedule.dueNs(dueSlots)).toBeGreaterThan(schedule.dueNs(slot));
    }),
  );
});
