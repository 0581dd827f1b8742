import type { SeqRange } from "@dyetrace/locate";
import type { StreamReceipt } from "@dyetrace/measure";

/** A run of numbers of one stay that did not come, with what its listener and the stream's plan tell of it. */
export interface MissingRun {
  readonly firstSeq: number;
  /** Of this many numbers from the first on ... */
  readonly count: number;
  /** ... so many did not come: fewer where only the outline of several gaps is known. */
  readonly lost: number;
  /** Of the lost ones, those that this host's own drops account for. */
  readonly hostLost: number;
  /** From the last packet before it to the first after it; at the ends of a stay as long as its packets would have taken. */
  readonly startNs: number | null;
  readonly durationNs: number | null;
  /** False: the outline of several gaps. */
  readonly isOne: boolean;
}

/**
 * All that is missing of the judged sender's numbers from `first` to `last`, ascending: what the listener noticed itself,
 * and what only the source's count shows, before its first packet, after its last, or between two of its spans.
 * @param intervalNs nominal, between two packets
 */
export function missingWithin(
  receipt: StreamReceipt,
  senderId: number,
  [first, last]: SeqRange,
  intervalNs: number,
): MissingRun[] {
  const runs: MissingRun[] = [];
  const unseen = (from: number, to: number, time: Pick<MissingRun, "startNs" | "durationNs">): void => {
    if (to >= from)
      runs.push({ firstSeq: from, count: to - from + 1, lost: to - from + 1, hostLost: 0, isOne: true, ...time });
  };
  const lastsNs = (from: number, to: number): number => Math.max(0, to - from + 1) * intervalNs;
  const spans = receipt.spans.filter((span) => span.senderId === senderId);
  let next = first;
  for (const [position, span] of spans.entries()) {
    if (position === 0) {
      const durationNs = lastsNs(next, span.firstSeq - 1);
      const isFirstArrival = span === receipt.spans[0] && receipt.firstArrivalNs !== null;
      const startNs = isFirstArrival ? (receipt.firstArrivalNs ?? 0) - durationNs : null;
      unseen(next, span.firstSeq - 1, { startNs, durationNs });
    } else {
      unseen(next, span.firstSeq - 1, { startNs: null, durationNs: null });
    }
    runs.push(...noticed(span));
    next = Math.max(next, span.endSeq);
  }
  const isLastArrival = spans.length > 0 && spans.at(-1) === receipt.spans.at(-1);
  unseen(next, last, { startNs: isLastArrival ? receipt.lastArrivalNs : null, durationNs: lastsNs(next, last) });
  return runs;
}

/** All that the listener noticed by itself, whoever sent it. */
export const missingAsNoticed = ({ spans }: StreamReceipt): MissingRun[] => spans.flatMap(noticed);

function noticed({ lost, coarse }: StreamReceipt["spans"][number]): MissingRun[] {
  const runs = lost.map(
    ([firstSeq, count, startNs, durationNs, hostLost]): MissingRun => ({
      firstSeq,
      count,
      lost: count,
      hostLost,
      startNs,
      durationNs,
      isOne: true,
    }),
  );
  if (coarse.length === 0) return runs;
  const outlines = coarse.map(
    ([firstSeq, count, startNs, durationNs, hostLost, lost]): MissingRun => ({
      firstSeq,
      count,
      lost,
      hostLost,
      startNs,
      durationNs,
      isOne: lost === count,
    }),
  );
  return [...runs, ...outlines].sort((a, b) => a.firstSeq - b.firstSeq);
}

/** The parts of some runs that lie within a range; of a run that is cut, its share in time and of what is counted. */
export function clipRuns(runs: readonly MissingRun[], [first, last]: SeqRange): MissingRun[] {
  return runs.flatMap((run) => {
    const { firstSeq, count } = run;
    const [from, to] = [Math.max(firstSeq, first), Math.min(firstSeq + count - 1, last)];
    if (to < from) return [];
    if (to - from + 1 === count) return [run];
    const share = (to - from + 1) / count;
    const { startNs, durationNs } = run;
    return [
      {
        ...run,
        firstSeq: from,
        count: to - from + 1,
        lost: Math.round(run.lost * share),
        hostLost: Math.round(run.hostLost * share),
        startNs: startNs === null || durationNs === null ? null : startNs + (durationNs * (from - firstSeq)) / count,
        durationNs: durationNs === null ? null : durationNs * share,
      },
    ];
  });
}
