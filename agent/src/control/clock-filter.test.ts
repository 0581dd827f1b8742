import { expect, test } from "vitest";
import { ClockFilter } from "./clock-filter.ts";

test("ClockFilter: given no exchange, then the offset is unknown", () => {
  expect(new ClockFilter().estimate()).toBeNull();
});

test("ClockFilter: given a fast exchange among slow and lopsided ones, then the fast one decides", () => {
  const filter = new ClockFilter();
  // The true offset is 1000; asymmetric queueing pulls the slow exchanges off (RFC 5905, section 10, from memory).
  filter.record(0, 1000 + 900, 1000); // 900 out, 100 back
  filter.record(2000, 2000 + 1000 + 5, 2010); // 5 out, 5 back
  filter.record(3000, 3000 + 1000 + 10, 4000); // 10 out, 990 back
  expect(filter.estimate()).toEqual({ offsetNs: 1000, uncertaintyNs: 5 });
});

test("ClockFilter: given a drifting clock, then an old exchange is forgotten", () => {
  const filter = new ClockFilter();
  filter.record(0, 50, 2);
  for (let i = 1; i <= 40; i++) filter.record(i * 1000, i * 1000 + 100 + 5, i * 1000 + 10);
  expect(filter.estimate()).toEqual({ offsetNs: 100, uncertaintyNs: 5 });
});

test("ClockFilter: given a controller whose machine was restarted, then its old clock is forgotten at once", () => {
  const filter = new ClockFilter();
  for (let i = 0; i < 8; i++) filter.record(i * 1000, i * 1000 + 9e12 + 1, i * 1000 + 2);
  filter.record(1e9, 1e9 + 5e6 + 50, 1e9 + 100);
  expect(filter.estimate()).toEqual({ offsetNs: 5e6, uncertaintyNs: 50 });
});
