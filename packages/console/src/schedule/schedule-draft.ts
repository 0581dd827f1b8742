import { signal } from "@preact/signals";
import { instantsAt, nextHour } from "./zoned-time.ts";

/** When the run that is being put together shall start; kept while other pages are looked at. */
export interface ScheduleDraft {
  readonly isLater: boolean;
  /** As `datetime-local` fields have them. */
  readonly start: string;
  /** Empty: the scenario's own length. */
  readonly end: string;
  /** A name of the time zone database. */
  readonly zone: string;
  /** How long after its time it may still begin. */
  readonly withinMinutes: number;
}

/** Where this page is. */
export const ownZone = (): string => Intl.DateTimeFormat().resolvedOptions().timeZone;

const AT_ONCE: ScheduleDraft = { isLater: false, start: "", end: "", zone: ownZone(), withinMinutes: 15 };
export const scheduleDraft = signal<ScheduleDraft>(AT_ONCE);

export const startAtOnce = (): void => {
  scheduleDraft.value = { ...scheduleDraft.value, isLater: false };
};

const NIGHT_BEGINS = 22;
const NIGHT_ENDS = 6;

/** Proposes the coming night where nothing was said yet. @param nowMs since 1970 */
export function startLater(nowMs: number): void {
  const draft = scheduleDraft.value;
  const isKept = (instantsAt(draft.start, draft.zone)[0] ?? 0) > nowMs;
  const start = isKept ? draft.start : nextHour(NIGHT_BEGINS, nowMs, draft.zone);
  const startMs = instantsAt(start, draft.zone)[0] ?? nowMs;
  const end = isKept ? draft.end : nextHour(NIGHT_ENDS, startMs, draft.zone);
  scheduleDraft.value = { ...draft, isLater: true, start, end };
}

/** What a draft comes to: instants in ms since 1970, or what is wrong with it. */
export type ReadSchedule =
  | { readonly kind: "at-once" }
  | { readonly kind: "wrong"; readonly says: string }
  | { readonly kind: "later"; readonly startMs: number; readonly endMs: number | null; readonly note: string | null };

/** @param nowMs since 1970 */
export function readSchedule(draft: ScheduleDraft, nowMs: number): ReadSchedule {
  if (!draft.isLater) return { kind: "at-once" };
  const starts = instantsAt(draft.start, draft.zone);
  const [startMs] = starts;
  if (startMs === undefined) return wrong(draft.start, draft.zone, "start");
  if (startMs <= nowMs) return { kind: "wrong", says: "The start is past." };
  const note = starts.length > 1 ? twice(draft.start, draft.zone, "starts") : null;
  if (draft.end === "") return { kind: "later", startMs, endMs: null, note };
  const ends = instantsAt(draft.end, draft.zone);
  const endMs = ends.at(-1);
  if (endMs === undefined) return wrong(draft.end, draft.zone, "end");
  if (endMs <= startMs) return { kind: "wrong", says: "The end is before the start." };
  return { kind: "later", startMs, endMs, note };
}

const wrong = (text: string, zone: string, which: string): ReadSchedule => ({
  kind: "wrong",
  says:
    text === ""
      ? `The ${which} has no date and time yet.`
      : `Clocks in ${zone} are put forward past ${text.slice(11)} on that day. Choose another ${which}.`,
});

const twice = (text: string, zone: string, does: string): string =>
  `Clocks in ${zone} are put back on that day and show ${text.slice(11)} twice. The run ${does} at the first.`;
