const MINUTE_MS = 60_000;
const STEPS_MS = [
  ...[1, 2, 5, 10, 15, 30].map((seconds) => seconds * 1000),
  ...[1, 2, 5, 10, 15, 30, 60, 120, 180, 360, 720, 1440].map((minutes) => minutes * MINUTE_MS),
];

export interface ClockTick {
  /** From the start. */
  readonly atMs: number;
  /** `02:00`; `02:00:30` where less than a minute lies between two. */
  readonly label: string;
}

/**
 * Round times of the wall clock within a span.
 * @param startMs since 1970 @param spanMs more than 0 @param most how many at most
 * @param offsetMs by how much that wall clock is ahead of UTC
 */
export function clockTicks(startMs: number, spanMs: number, most: number, offsetMs: number): readonly ClockTick[] {
  const stepMs =
    STEPS_MS.find((step) => spanMs / step <= most) ?? 1440 * MINUTE_MS * Math.ceil(spanMs / most / 86_400_000);
  const letters = stepMs < MINUTE_MS ? 19 : 16;
  const shownMs = startMs + offsetMs;
  const ticks: ClockTick[] = [];
  for (let at = Math.ceil(shownMs / stepMs) * stepMs; at <= shownMs + spanMs; at += stepMs) {
    ticks.push({ atMs: at - shownMs, label: new Date(at).toISOString().slice(11, letters) });
  }
  return ticks;
}
