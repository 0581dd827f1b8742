import { greatestOf, type ListenerInterval, leastOf } from "@dyetrace/wire";
import { networkLost } from "./count-minutes.ts";
import { tellLostNumbers } from "./lost-numbers.ts";

type Receipt = NonNullable<ListenerInterval["receipt"]>;

/** A run of numbers that did not come. */
export interface LostRange {
  readonly firstSeq: number;
  /** Numbers of the run, and how many of them were lost: all of them but where the run stands for several. */
  readonly length: number;
  readonly lost: number;
  readonly hostLost: number;
  readonly fromNs: number | null;
  readonly toNs: number | null;
}

/** Losses of one time at one listener. */
export interface NotedLoss {
  readonly fromNs: number;
  readonly toNs: number;
  /** Packets that the way lost, not the host. */
  readonly count: number;
  /** The numbers, such as `400-449 812`. */
  readonly detail: string;
}

/** A run of this many numbers and this length is an outage, with a beginning and an end of its own. */
const OUTAGE_PACKETS = 10;
const OUTAGE_NS = 100e6;

/** Each outage of a report by itself, and all that is lost beside it together. Pure. @param fromNs, toNs of the report */
export const noteLosses = (receipt: Receipt, fromNs: number, toNs: number): readonly NotedLoss[] =>
  noteRanges(rangesOf(receipt), networkLost(receipt), fromNs, toNs);

/** The same of runs of numbers. @param total packets of them that the way lost, as far as the runs tell or beyond */
export function noteRanges(
  ranges: readonly LostRange[],
  total: number,
  fromNs: number,
  toNs: number,
): readonly NotedLoss[] {
  if (total === 0) return [];
  const outages = ranges.flatMap((range): NotedLoss[] => {
    const { firstSeq, length, hostLost, fromNs: from, toNs: to } = range;
    if (range.lost !== length || length < OUTAGE_PACKETS || from === null || to === null || to - from < OUTAGE_NS)
      return [];
    const count = length - hostLost;
    return count <= 0 ? [] : [{ fromNs: from, toNs: to, count, detail: `${firstSeq}-${firstSeq + length - 1}` }];
  });
  const told = new Set(outages.map(({ fromNs: from }) => from));
  const rest = ranges.filter((range) => !told.has(range.fromNs ?? Number.NaN));
  const left = total - outages.reduce((sum, { count }) => sum + count, 0);
  if (left <= 0) return outages;
  const span = spanOf(rest.filter(({ lost, hostLost }) => lost > hostLost)) ?? { fromNs, toNs };
  const numbers = rest.flatMap((range) => (range.lost === range.length ? range : []));
  return [...outages, { ...span, count: left, detail: tellLostNumbers(numbers) }];
}

/** From the first to the last of them; null where none has a time. */
export function spanOf(ranges: readonly LostRange[]): { readonly fromNs: number; readonly toNs: number } | null {
  const starts = ranges.flatMap((range) => range.fromNs ?? []);
  const ends = ranges.flatMap((range) => range.toNs ?? []);
  if (starts.length === 0) return null;
  const fromNs = leastOf(starts);
  return { fromNs, toNs: greatestOf(ends, fromNs) };
}

export const rangesOf = ({ spans }: Receipt): readonly LostRange[] =>
  spans.flatMap((span) => [
    ...span.lost.map(([firstSeq, length, startNs, durationNs, hostLost]) =>
      rangeOf(firstSeq, length, startNs, durationNs, hostLost, length),
    ),
    ...span.coarse.map(([firstSeq, length, startNs, durationNs, hostLost, lost]) =>
      rangeOf(firstSeq, length, startNs, durationNs, hostLost, lost),
    ),
  ]);

const rangeOf = (
  firstSeq: number,
  length: number,
  startNs: number | null,
  durationNs: number | null,
  hostLost: number,
  lost: number,
): LostRange => ({
  ...{ firstSeq, length, lost, hostLost, fromNs: startNs },
  toNs: startNs === null || durationNs === null ? null : startNs + durationNs,
});
