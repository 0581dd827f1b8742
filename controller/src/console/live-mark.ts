import type { LiveMark } from "@dyetrace/wire/console/live-second";

/** What decides the mark of one second of one agent and one stream. Times in ms after the run's start. */
export interface LiveSecond {
  readonly fromMs: number;
  readonly toMs: number;
  /** Since when the agent has been in the group within this second; null: it is not a member. */
  readonly joinedFromMs: number | null;
  readonly received: number;
  readonly lost: number;
  /** When the source is to send. */
  readonly emits: readonly { readonly fromMs: number; readonly toMs: number }[];
  /** Frames at the network card, joined or not; null where the agent can't watch. */
  readonly frames: number | null;
  /** Whether this host rightly gets the stream without joining. */
  readonly isReachedByDesign: boolean;
}

/** After a join the first packet may take this long before its absence is shown. */
const JOIN_GRACE_MS = 500;
/** A second counts as silent only if the source was to send for at least this long within it. */
const LEAST_EMISSION_MS = 500;

/** Pure. An interval's loss is what its gaps show; what is missing at the end shows as `-` one second later. */
export function liveMark(second: LiveSecond): LiveMark {
  if (second.joinedFromMs === null) {
    if (second.frames === null) return "u";
    if (second.frames === 0) return "o";
    return second.isReachedByDesign ? "d" : "s";
  }
  if (second.received === 0) {
    if (!isDue(second, second.joinedFromMs)) return ".";
    // Frames of before the join tell nothing of what a member gets.
    const isWholeSecond = second.joinedFromMs + JOIN_GRACE_MS <= second.fromMs;
    return isWholeSecond && second.frames !== null && second.frames > 0 ? "b" : "-";
  }
  if (second.lost === 0) return "f";
  const lossRatio = second.lost / (second.received + second.lost);
  return lossRatio < 0.001 ? "1" : lossRatio < 0.01 ? "2" : lossRatio < 0.1 ? "3" : "4";
}

function isDue({ fromMs, toMs, emits }: LiveSecond, joinedFromMs: number): boolean {
  const start = Math.max(fromMs, joinedFromMs + JOIN_GRACE_MS);
  const dueMs = emits.reduce(
    (sum, emit) => sum + Math.max(0, Math.min(toMs, emit.toMs) - Math.max(start, emit.fromMs)),
    0,
  );
  return dueMs >= LEAST_EMISSION_MS;
}
