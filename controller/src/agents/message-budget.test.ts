import fc from "fast-check";
import { expect, test } from "vitest";
import { MessageBudget } from "./message-budget.ts";

const BUDGET = { perSecond: 100, atOnce: 50 };

test("MessageBudget: given a rush, then as many as fit at once pass, and the next waits for its turn", () => {
  const budget = new MessageBudget(BUDGET, 0);
  for (let i = 0; i < 50; i++) expect(budget.spend(1, 0)).toBe(0);
  expect(budget.spend(1, 0)).toBe(10); // one hundredth of a second for one of a hundred a second
  expect(budget.spend(1, 1e9)).toBe(0);
});

test("MessageBudget: given whoever waits as long as told, then no stretch of time passes more than the rate and one rush", () => {
  fc.assert(
    fc.property(fc.array(fc.integer({ min: 1, max: 40 }), { minLength: 1, maxLength: 200 }), (amounts) => {
      const budget = new MessageBudget(BUDGET, 0);
      let nowNs = 0;
      let passed = 0;
      for (const amount of amounts) {
        passed += amount;
        nowNs += budget.spend(amount, nowNs) * 1e6;
      }
      // Worked out by hand: all that was let in by now is the rush and what has run in since.
      expect(passed).toBeLessThanOrEqual(BUDGET.atOnce + (nowNs / 1e9) * BUDGET.perSecond + 1e-6);
    }),
  );
});
