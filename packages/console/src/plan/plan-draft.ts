import { beginHistory, change, type PlanHistory, redo, undo } from "@dyetrace/site";
import { computed, effect, type ReadonlySignal, signal } from "@preact/signals";
import { pageLife } from "../link/page-life.ts";
import { plan } from "../state/console-state.ts";

/** A plan that is being corrected, and the controller's plan that it was made from. */
export interface PlanDraft {
  readonly file: string;
  /** Null: the controller had none. */
  readonly madeFrom: string | null;
  readonly history: PlanHistory;
  /** The last change was a letter that was typed: the next one is undone with it. */
  readonly isTyping: boolean;
}

const KEY = "dyetrace-plan-draft";
/** Steps back that are kept over a reload: a browser keeps five megabytes. */
const STEPS_KEPT = 20;

/** Null: the controller's own plan is shown. Kept while other pages are looked at, and over a reload of the page. */
export const draft = signal<PlanDraft | null>(kept());

export const isUnsaved: ReadonlySignal<boolean> = computed(
  () => draft.value !== null && draft.value.history.now !== (plan.value?.text.text ?? ""),
);

/** The controller's plan is no longer the one that the draft was made from. */
export const isOvertaken: ReadonlySignal<boolean> = computed(
  () => isUnsaved.value && draft.value?.madeFrom !== (plan.value?.edition ?? null),
);

/** @param isTyping undone together with the letter before it */
export function writeDraft(file: string, before: string, text: string, isTyping = false): void {
  const begun = { file, madeFrom: plan.value?.edition ?? null, history: beginHistory(before), isTyping: false };
  const now = draft.value ?? begun;
  draft.value = { ...now, history: change(now.history, text, isTyping && now.isTyping), isTyping };
}

const step = (how: (history: PlanHistory) => PlanHistory) => (): void => {
  if (draft.value !== null) draft.value = { ...draft.value, history: how(draft.value.history), isTyping: false };
};
export const undoDraft: () => void = step(undo);
export const redoDraft: () => void = step(redo);

export function discardDraft(): void {
  draft.value = null;
}

/** From now on the draft stands beside the controller's plan of now, whatever that was changed to. */
export function takeUpPlan(): void {
  if (draft.value !== null) draft.value = { ...draft.value, madeFrom: plan.value?.edition ?? null };
}

function kept(): PlanDraft | null {
  try {
    const text = sessionStorage.getItem(KEY);
    return text === null ? null : (JSON.parse(text) as PlanDraft);
  } catch {
    return null;
  }
}

function keep(value: PlanDraft | null): void {
  try {
    if (value === null) sessionStorage.removeItem(KEY);
    else sessionStorage.setItem(KEY, JSON.stringify(trimmed(value, STEPS_KEPT)));
  } catch {
    try {
      if (value !== null) sessionStorage.setItem(KEY, JSON.stringify(trimmed(value, 0)));
    } catch {
      // The browser keeps nothing for this page: leaving it asks all the same.
    }
  }
}

const trimmed = (value: PlanDraft, steps: number): PlanDraft => ({
  ...value,
  history: {
    past: steps === 0 ? [] : value.history.past.slice(-steps),
    now: value.history.now,
    future: value.history.future.slice(0, steps),
  },
});

effect(() => keep(draft.value));
const askBeforeLeaving = (event: BeforeUnloadEvent): void => event.preventDefault();
effect(() => {
  if (!isUnsaved.value) return;
  addEventListener("beforeunload", askBeforeLeaving);
  return () => removeEventListener("beforeunload", askBeforeLeaving);
});
// Whoever signs out leaves nothing behind in this browser.
pageLife.signal.addEventListener("abort", discardDraft);
