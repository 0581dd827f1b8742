import type { LostRuns } from "../compare/alike-losses.ts";
import type { CompiledStream } from "../plan/compiled-run.ts";
import { intervalNs } from "./silences.ts";

/** Losses of one stream, with when they were. */
interface Timed {
  readonly stream: CompiledStream;
  readonly fromNs: number;
  readonly toNs: number;
}

/** More numbers than this say nothing more. */
const MOST_NUMBERS = 2000;

/** Of the listener that lost fewest: what the others have in common with it. */
export function numbersOf(losses: readonly LostRuns[]): Set<number> {
  const sizes = losses.map(({ runs }) => new Set(runs.flatMap(([first, last]) => numbersFrom(first, last))));
  return sizes.toSorted((a, b) => a.size - b.size)[0] ?? new Set();
}

const numbersFrom = (first: number, last: number): number[] =>
  Array.from({ length: Math.min(MOST_NUMBERS, last - first + 1) }, (_, i) => first + i);

/** Two streams tell of one moment's beginning and end within two of their packets, and what reports of time may differ by. */
const SAME_MOMENT_PACKETS = 2;
const SAME_MOMENT_NS = 50e6;

/** Losses of different streams that began and ended together, put together. Of one stream, alike ones are together already. */
export function sameMoments<Loss extends Timed>(all: readonly Loss[]): Loss[][] {
  const moments: Loss[][] = [];
  for (const loss of all) {
    const same = moments.find(
      (moment) =>
        moment[0] !== undefined &&
        isSameMoment(moment[0], loss) &&
        moment.every(({ stream }) => stream !== loss.stream),
    );
    if (same === undefined) moments.push([loss]);
    else same.push(loss);
  }
  return moments;
}

function isSameMoment(a: Timed, b: Timed): boolean {
  const slackNs = SAME_MOMENT_NS + SAME_MOMENT_PACKETS * Math.max(intervalNs(a.stream), intervalNs(b.stream));
  return Math.abs(a.fromNs - b.fromNs) <= slackNs && Math.abs(a.toNs - b.toNs) <= slackNs;
}

/** Two listeners' silences of one stream begin and end alike within this. */
export const slackOf = (stream: CompiledStream): number =>
  Math.max(SAME_MOMENT_NS, SAME_MOMENT_PACKETS * intervalNs(stream));
