/** What one agent may say. Whoever says more is read more slowly, and TCP holds it back at its end. */
export interface Budget {
  readonly perSecond: number;
  /** May be used at once after a quiet time: reports that waited for their controller come in a rush. */
  readonly atOnce: number;
}

/** Far above the one to ten reports a second of a busy agent (common practice, no source). */
export const MESSAGES: Budget = { perSecond: 200, atOnce: 1000 };
export const BYTES: Budget = { perSecond: 8 * 1024 * 1024, atOnce: 32 * 1024 * 1024 };

/** A pail that fills at a steady rate; time is handed in. */
export class MessageBudget {
  readonly #budget: Budget;
  #left: number;
  #atNs: number;

  constructor(budget: Budget, nowNs: number) {
    this.#budget = budget;
    this.#left = budget.atOnce;
    this.#atNs = nowNs;
  }

  /** @returns how long to wait before reading on, ms; 0 is not at all */
  spend(amount: number, nowNs: number): number {
    const { perSecond, atOnce } = this.#budget;
    this.#left = Math.min(atOnce, this.#left + ((nowNs - this.#atNs) / 1e9) * perSecond);
    this.#atNs = nowNs;
    this.#left -= amount;
    return this.#left >= 0 ? 0 : Math.ceil((-this.#left / perSecond) * 1000);
  }
}
