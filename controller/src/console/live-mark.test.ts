import { expect, test } from "vitest";
import { type LiveSecond, liveMark } from "./live-mark.ts";

const second = (parts: Partial<LiveSecond>): LiveSecond => ({
  fromMs: 5000,
  toMs: 6000,
  joinedFromMs: 0,
  received: 190,
  lost: 0,
  emits: [{ fromMs: 1000, toMs: 9000 }],
  frames: null,
  isReachedByDesign: false,
  ...parts,
});

test("liveMark: given everything came, then it flows whole", () => {
  expect(liveMark(second({}))).toBe("f");
});

test("liveMark: given losses, then the mark says how large a share", () => {
  expect(liveMark(second({ received: 9999, lost: 1 }))).toBe("1");
  expect(liveMark(second({ received: 999, lost: 1 }))).toBe("2"); // 0.1 % is no longer under 0.1 %
  expect(liveMark(second({ received: 95, lost: 5 }))).toBe("3");
  expect(liveMark(second({ received: 80, lost: 20 }))).toBe("4");
});

test("liveMark: given nothing came while the source was to send, then it is dry", () => {
  expect(liveMark(second({ received: 0 }))).toBe("-");
});

test("liveMark: given nothing came to a member's program, and frames came to its network card, then that is said; not for frames of the second in which it joined", () => {
  expect(liveMark(second({ received: 0, frames: 190 }))).toBe("b");
  expect(liveMark(second({ received: 0, frames: 0 }))).toBe("-");
  expect(liveMark(second({ received: 0, frames: 190, joinedFromMs: 4800 }))).toBe("-");
});

test("liveMark: given nothing came and nothing was due, then it waits", () => {
  expect(liveMark(second({ received: 0, emits: [{ fromMs: 7000, toMs: 9000 }] }))).toBe(".");
  expect(liveMark(second({ received: 0, emits: [] }))).toBe(".");
  // Due for too small a part of the second to say anything.
  expect(liveMark(second({ received: 0, emits: [{ fromMs: 5700, toMs: 9000 }] }))).toBe(".");
});

test("liveMark: given a join late in the second, then its silence is not shown yet", () => {
  expect(liveMark(second({ received: 0, joinedFromMs: 5400 }))).toBe(".");
});

test("liveMark: given frames at a host that did not join, then it is a leak unless the site is built so", () => {
  expect(liveMark(second({ joinedFromMs: null, frames: 3 }))).toBe("s");
  expect(liveMark(second({ joinedFromMs: null, frames: 3, isReachedByDesign: true }))).toBe("d");
});

test("liveMark: given a host that did not join, then seeing nothing and not being able to see are two things", () => {
  expect(liveMark(second({ joinedFromMs: null, frames: 0 }))).toBe("o");
  expect(liveMark(second({ joinedFromMs: null, frames: null }))).toBe("u");
});
