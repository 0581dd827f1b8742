/** The part of a run's time that is shown, ms. */
export interface StoryWindow {
  readonly fromMs: number;
  readonly toMs: number;
}

/** Nothing happens within less that could be told apart. */
const LEAST_MS = 20;

/**
 * More or less of the time, around one instant that stays where it is.
 * @param by over 1 shows less of it @param atMs within `shown`
 */
export function zoomWindow(shown: StoryWindow, whole: StoryWindow, by: number, atMs: number): StoryWindow {
  const length = shown.toMs - shown.fromMs;
  const wanted = Math.min(whole.toMs - whole.fromMs, Math.max(LEAST_MS, length / by));
  const share = length === 0 ? 0.5 : (atMs - shown.fromMs) / length;
  return within({ fromMs: atMs - share * wanted, toMs: atMs + (1 - share) * wanted }, whole);
}

/** Earlier or later by a share of what is shown. */
export function moveWindow(shown: StoryWindow, whole: StoryWindow, share: number): StoryWindow {
  const byMs = share * (shown.toMs - shown.fromMs);
  return within({ fromMs: shown.fromMs + byMs, toMs: shown.toMs + byMs }, whole);
}

function within({ fromMs, toMs }: StoryWindow, whole: StoryWindow): StoryWindow {
  const length = Math.min(toMs - fromMs, whole.toMs - whole.fromMs);
  const from = Math.min(Math.max(fromMs, whole.fromMs), whole.toMs - length);
  return { fromMs: from, toMs: from + length };
}
