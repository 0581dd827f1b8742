import { expect, test } from "vitest";
import { RefusalCount } from "./refusal-count.ts";

test("RefusalCount: given 25,783 refusals of strangers within 40 s, then there are a handful of entries, and none is lost", () => {
  const count = new RefusalCount();
  let [written, told] = [0, 0];
  const take = (atMs: number, isEnd = false): void => {
    for (const { what } of count.take(atMs, isEnd)) {
      written++;
      told += Number(/, ([0-9]+) times more within [0-9]+ s$/.exec(what)?.[1]);
    }
  };
  for (let i = 0; i < 25_783; i++) {
    const atMs = (i / 25_783) * 40_000;
    if (count.add("nobody", "was refused POST /api/runs", `192.0.2.${i % 200}`, atMs))
      [written, told] = [written + 1, told + 1];
    if (i % 1000 === 0) take(atMs);
  }
  take(40_000, true);
  expect(told).toBe(25_783);
  expect(written).toBeLessThanOrEqual(4);
});

test("RefusalCount: given refusals without an end, then there is an entry an hour at last, with the addresses", () => {
  const count = new RefusalCount();
  const entries: string[] = [];
  for (let s = 0; s < 24 * 3600; s++) {
    count.add("nobody", "was refused at sign-in", `192.0.2.${s % 5}`, s * 1000);
    entries.push(...count.take(s * 1000).map(({ from, what }) => `${what} from ${from}`));
  }
  expect(entries.length).toBeLessThan(30);
  expect(entries.at(-1)).toMatch(
    /^was refused at sign-in, 3600 times more within 3600 s from 192.0.2.\d, 192.0.2.\d, 192.0.2.\d and 2 others$/,
  );
});

test("RefusalCount: given a refusal long after the others, then it is written by itself again", () => {
  const count = new RefusalCount();
  expect(count.add("nobody", "a", "192.0.2.7", 0)).toBe(true);
  expect(count.add("nobody", "a", "192.0.2.7", 1000)).toBe(false);
  expect(count.add("anna", "a", "192.0.2.7", 1000)).toBe(true);
  expect(count.take(11_000)).toEqual([{ who: "nobody", from: "192.0.2.7", what: "a, 1 times more within 11 s" }]);
  count.take(3600e3);
  expect(count.add("nobody", "a", "192.0.2.7", 3601e3)).toBe(true);
});

test("RefusalCount: given thousands of kinds, then what is more than it keeps is counted together", () => {
  const count = new RefusalCount();
  let first = 0;
  for (let i = 0; i < 5000; i++) if (count.add("anna", `kind ${i}`, "192.0.2.7", 0)) first++;
  expect(first).toBeLessThanOrEqual(256);
  expect(count.take(0, true)).toEqual([
    { who: "several", from: "192.0.2.7", what: "was refused other things, 4743 times more within 1 s" },
  ]);
});
