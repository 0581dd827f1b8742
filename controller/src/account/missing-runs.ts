import type { SequenceRange, StreamReceipt } from "@dyetrace/measure";

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
  [first, last]: SequenceRange,
  intervalNs: number,
): MissingRun[] {
  const spans = receipt.spans.filter((span) => span.senderId === senderId);
  const [firstSpan, lastSpan] = [spans[0], spans.at(-1)];
  if (firstSpan === undefined || lastSpan === undefined) {
    return unseen(first, last, null, (last + 1 - first) * intervalNs);
  }
  const headNs = (firstSpan.firstSeq - first) * intervalNs;
  const isFirstArrival = firstSpan === receipt.spans[0] && receipt.firstArrivalNs !== null;
  const headStartNs = isFirstArrival ? (receipt.firstArrivalNs ?? 0) - headNs : null;
  const tailNs = (last + 1 - lastSpan.endSeq) * intervalNs;
  const tailStartNs = lastSpan === receipt.spans.at(-1) ? receipt.lastArrivalNs : null;
  return [
    ...unseen(first, firstSpan.firstSeq - 1, headStartNs, headNs),
    ...spans.flatMap((span, position) => [
      ...unseen(spans[position - 1]?.endSeq ?? span.firstSeq, span.firstSeq - 1, null, null),
      ...noticed(span),
    ]),
    ...unseen(lastSpan.endSeq, last, tailStartNs, tailNs),
  ];
}

/** Numbers that no span of the listener holds; none where `last` comes before `first`. */
function unseen(first: number, last: number, startNs: number | null, durationNs: number | null): MissingRun[] {
  if (last < first) return [];
  const count = last - first + 1;
  return [{ firstSeq: first, count, lost: count, hostLost: 0, startNs, durationNs, isOne: true }];
}

/** All that the listener noticed by itself, whoever sent it. */
export const missingAsNoticed = ({ spans }: StreamReceipt): MissingRun[] => spans.flatMap(noticed);

function noticed({ lost, coarse }: StreamReceipt["spans"][number]): MissingRun[] {
  const runs = lost.map(([firstSeq, count, startNs, durationNs, hostLost]): MissingRun => {
    return { firstSeq, count, lost: count, hostLost, startNs, durationNs, isOne: true };
  });
  if (coarse.length === 0) return runs;
  const outlines = coarse.map(([firstSeq, count, startNs, durationNs, hostLost, lost]): MissingRun => {
    return { firstSeq, count, lost, hostLost, startNs, durationNs, isOne: lost === count };
  });
  return [...runs, ...outlines].sort((a, b) => a.firstSeq - b.firstSeq);
}

/** The parts of some runs that lie within a range; of a run that is cut, its share in time and of what is counted. */
export function clipRuns(runs: readonly MissingRun[], [first, last]: SequenceRange): MissingRun[] {
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
