import { Fault } from "@dyetrace/wire";
import { seededRandom } from "../seeded-random.ts";
import type { Parser } from "./parser.ts";
import { PARSERS } from "./parsers.ts";

/** What was found: enough to see it again. */
export interface FuzzFailure {
  readonly parser: string;
  /** Of this one try. */
  readonly seed: number;
  readonly what: string;
}

export interface FuzzResult {
  readonly tries: number;
  readonly taken: number;
  readonly refused: number;
  readonly slowestMs: number;
  readonly failures: readonly FuzzFailure[];
}

const AGAIN = 3;
const MOST_FAILURES = 20;

/**
 * @param seed the same seed and count try the same
 * @param hangMs what takes longer, again and again, hangs
 */
export function fuzz(tries: number, seed: number, hangMs: number): FuzzResult {
  const turns = PARSERS.flatMap((parser) => Array<Parser>(parser.share).fill(parser));
  const failures: FuzzFailure[] = [];
  let [taken, slowestMs] = [0, 0];
  for (let at = 0; at < tries && failures.length < MOST_FAILURES; at++) {
    const parser = turns[(at * 37) % turns.length] as Parser; // 37 and the number of turns have no common divisor
    const own = (seed + Math.imul(at, 0x9e3779b1)) >>> 0;
    const { ms, what, isTaken } = tryOne(parser, own, hangMs);
    if (isTaken) taken++;
    slowestMs = Math.max(slowestMs, ms);
    if (what !== null) failures.push({ parser: parser.name, seed: own, what });
  }
  return { tries, taken, refused: tries - taken - failures.length, slowestMs, failures };
}

/** @returns what is wrong, null nothing */
function tryOne(parser: Parser, seed: number, hangMs: number): { ms: number; what: string | null; isTaken: boolean } {
  let ms = Number.POSITIVE_INFINITY;
  for (let times = 0; times < AGAIN && ms > hangMs; times++) {
    const made = parser.make(seededRandom(seed));
    const began = busyMs();
    try {
      parser.take(made);
    } catch (error) {
      if (!(error instanceof Fault))
        return { ms: busyMs() - began, what: String((error as Error).stack), isTaken: false };
      ms = Math.min(ms, busyMs() - began);
      continue;
    }
    ms = Math.min(ms, busyMs() - began);
    if (ms <= hangMs) return { ms, what: null, isTaken: true };
  }
  return { ms, what: ms > hangMs ? `took ${Math.round(ms)} ms` : null, isTaken: false };
}

/** This process' own time on the processor: whatever else the machine does counts for nothing. */
function busyMs(): number {
  const { user, system } = process.cpuUsage();
  return (user + system) / 1000;
}
