import { formatDurationNs } from "@dyetrace/wire";
import type { Tested } from "./holm-correction.ts";

export type Outcome = "worse" | "better" | "same" | "cant-tell";

/** One thing that both runs measured, held against each other. */
export interface Comparison {
  /** Such as `loss` or `leave delay`. */
  readonly what: string;
  readonly stream: string | null;
  /** Null: all listeners of the stream together. With no stream: all streams of the listener. */
  readonly listener: string | null;
  /** Segments and nodes that it points to; empty where it points nowhere. */
  readonly places: readonly string[];
  readonly before: string;
  readonly after: string;
  /** Of the test; null where nothing had to be tested. */
  readonly p: number | null;
  /** The difference is large enough to matter, chance or not. */
  readonly isMaterial: boolean;
  readonly outcome: Outcome;
  /** The greatest rise of a share that the data allow, where shares were compared; else null. */
  readonly allows: number | null;
  /** The greatest rise of a time that the data allow, ms, where times were compared and they bound it; else null. */
  readonly allowsMs: number | null;
  /** No further later run decides it: the earlier run did not measure what it takes. */
  readonly isBarred: boolean;
  /** Why, in one sentence. */
  readonly because: string;
}

/** A comparison before it is known how many there are. */
export interface Candidate extends Omit<Comparison, "p" | "outcome" | "because"> {
  /** Null where nothing is left to chance, as with a new finding; `outcome` then stands. */
  readonly tested: Tested | null;
  readonly outcome: Outcome;
  /** Which way it went. */
  readonly isGreater: boolean;
  /** Even the largest difference that the data allow is too small to matter. */
  readonly isWithin: boolean;
  /** What the data allow at most would hardly be missed by anybody: with no more than chance in it, nothing changed within that. */
  readonly isBounded: boolean;
  /** Such as `0.05 percentage points`. */
  readonly step: string;
  readonly because: string;
}

/** Chance of any false alarm in a whole comparison, however many things it holds against each other. */
export const LEVEL = 0.05;
/**
 * Where nothing moved beyond chance and the data exclude a rise of a share by this much, they say that nothing changed, and how
 * much they would have missed. Beyond it they say nothing (one percentage point; common practice, no source).
 */
export const MOST_MISSED = 0.01;

/** Such as `0.2 percentage points`: of a difference between two shares. */
export const points = (ratio: number): string => `${Number((100 * ratio).toPrecision(2))} percentage points`;

/** What each candidate comes to, the number of all tests taken into account. */
export function decide(
  candidates: readonly Candidate[],
  standing: (tests: readonly Tested[], level: number) => readonly boolean[],
  level: number,
): readonly Comparison[] {
  const tested = candidates.flatMap((candidate) => candidate.tested ?? []);
  const stands = standing(tested, level);
  let next = 0;
  return candidates.map((candidate) => {
    const { what, stream, listener, places, before, after, isMaterial, isBarred, tested: test } = candidate;
    const { allows, allowsMs } = candidate;
    const base = { what, stream, listener, places, before, after, isMaterial, isBarred, allows, allowsMs };
    if (test === null) return { ...base, p: null, outcome: candidate.outcome, because: candidate.because };
    return { ...base, p: test.p, ...judge(candidate, stands[next++] === true) };
  });
}

function judge(
  { isMaterial, isGreater, isWithin, isBounded, allows, allowsMs, step, because }: Candidate,
  isSignificant: boolean,
): Pick<Comparison, "outcome" | "because"> {
  if (isSignificant && isMaterial) return { outcome: isGreater ? "worse" : "better", because };
  if (isWithin) return { outcome: "same", because: allows === null ? because : `no difference of ${step} or more` };
  const bound = allows !== null ? points(allows) : allowsMs !== null ? formatDurationNs(allowsMs * 1e6) : null;
  if (isBounded && bound !== null) {
    return { outcome: "same", because: `no difference beyond chance; a rise of ${bound} or more is excluded` };
  }
  return isMaterial
    ? { outcome: "cant-tell", because: `${because}, but that may be chance: too few were measured` }
    : { outcome: "cant-tell", because: `too few were measured to see a difference of ${step}` };
}
