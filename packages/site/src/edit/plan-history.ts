/** A plan that is being changed, with the way back and forth. Texts are kept whole: undone is exactly what was. */
export interface PlanHistory {
  /** Oldest first. */
  readonly past: readonly string[];
  readonly now: string;
  /** What was undone last comes first. */
  readonly future: readonly string[];
}

/** More steps are not kept: a large plan is a megabyte. */
export const MOST_STEPS = 100;

export const beginHistory = (text: string): PlanHistory => ({ past: [], now: text, future: [] });

/** @param isTyping letters typed one after the other are undone together */
export function change(history: PlanHistory, text: string, isTyping = false): PlanHistory {
  if (text === history.now) return history;
  const past = isTyping ? history.past : [...history.past, history.now].slice(-MOST_STEPS);
  return { past, now: text, future: [] };
}

export function undo(history: PlanHistory): PlanHistory {
  const before = history.past.at(-1);
  if (before === undefined) return history;
  return { past: history.past.slice(0, -1), now: before, future: [history.now, ...history.future] };
}

export function redo(history: PlanHistory): PlanHistory {
  const [next, ...future] = history.future;
  return next === undefined ? history : { past: [...history.past, history.now], now: next, future };
}
