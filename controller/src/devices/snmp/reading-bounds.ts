/** What one reading of one device may take; whatever the device does, it ends within these. */
export interface ReadingBounds {
  /** From the first question to the last answer. */
  readonly withinMs: number;
  /** How long one question waits for its answer, and how often it is asked again. */
  readonly answerMs: number;
  readonly retries: number;
  /** Before a question that it failed to answer is asked once more, which is done of few questions of a reading. */
  readonly againMs: number;
  readonly mostAgain: number;
  /** Least time from one datagram to the next: a switch's own processor is slow, and has other things to do. */
  readonly gapMs: number;
  /** Datagrams that are taken from it, wanted or not, and their bytes in all. */
  readonly mostDatagrams: number;
  readonly mostBytes: number;
}

/** Ours, no source: 100 questions a second at most, which a switch of 48 ports has answered in 2 s. */
export const READING_BOUNDS: ReadingBounds = {
  withinMs: 30_000,
  answerMs: 1_500,
  retries: 1,
  againMs: 1_000,
  mostAgain: 2,
  gapMs: 10,
  mostDatagrams: 6_000,
  mostBytes: 8 * 1024 * 1024,
};

/** For readings that a run waits for: it begins and ends without a device that takes longer. */
export const RUN_READING_BOUNDS: ReadingBounds = { ...READING_BOUNDS, withinMs: 8_000 };
