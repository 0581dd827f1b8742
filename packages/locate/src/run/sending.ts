/** A stretch of a stream with one payload size and one rate. A plain stream has one step. */
export interface SendStep {
  readonly firstSeq: number;
  readonly lastSeq: number;
  readonly startMs: number;
  readonly endMs: number;
  readonly payloadBytes: number;
  /** UDP payload bits per second. */
  readonly rateBps: number;
}

/** What the source itself says; `unknown` when its agent did not report. */
export type SourceState = "sending" | "not-sending" | "stalled" | "unknown";

/** A source that stopped by itself, or whose agent ended. */
export interface SourceBreak {
  /** Null: it ended without a word, some time after `heardMs`. */
  readonly stoppedMs: number | null;
  /** In the source's own words; null where it said none. */
  readonly why: string | null;
  /** The last that it told of its sending before. */
  readonly heardMs: number;
  /** From when it sent again, with numbers from 0; null: it did not. */
  readonly againMs: number | null;
}
