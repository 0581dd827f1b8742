import type { ReportBystander, ReportFinding, ReportReceipt, ReportSegment, RunReport } from "@dyetrace/wire";
import { poolReceipts, SEQ_ROOM, TIME_ROOM_MS } from "./pool-receipts.ts";

/**
 * Runs of one scenario, as one run that measured all of it. Only to be compared: what the last of them says for itself, such
 * as its verdict, is the last's. @throws {RangeError} where there is none
 */
export function poolRuns(reports: readonly RunReport[]): RunReport {
  const last = reports.at(-1);
  if (last === undefined) throw new RangeError("There is no run to put together");
  if (reports.length === 1) return last;
  const inAll = <Item>(
    of: (report: RunReport) => readonly Item[],
    keyOf: (item: Item) => string,
  ): (readonly Item[])[] => {
    const found = new Map<string, Item[]>();
    for (const item of reports.flatMap(of)) found.set(keyOf(item), [...(found.get(keyOf(item)) ?? []), item]);
    return [...found.values()];
  };
  return {
    ...last,
    run: reports.map(({ run }) => run).join(", "),
    startedAt: reports[0]?.startedAt ?? last.startedAt,
    streams: last.streams.map((stream) => ({
      ...stream,
      sent: sumOf(reports.map((one) => one.streams.find(({ name }) => name === stream.name)?.sent ?? null)),
    })),
    receipts: inAll(
      ({ receipts }) => receipts,
      ({ stream, listener }) => `${stream} ${listener}`,
    ).map((same): ReportReceipt => {
      const at = (receipt: ReportReceipt): number => reports.findIndex(({ receipts }) => receipts.includes(receipt));
      return poolReceipts(
        same.map((receipt) => ({ receipt, fromSeq: at(receipt) * SEQ_ROOM, fromMs: at(receipt) * TIME_ROOM_MS })),
      );
    }),
    bystanders: inAll(
      ({ bystanders }) => bystanders,
      ({ stream, agent }) => `${stream} ${agent}`,
    ).flatMap((same) => poolBystanders(same)),
    findings: inAll(
      ({ findings }) => findings,
      ({ kind, streams, suspects }: ReportFinding) => `${kind} ${streams.join()} ${suspects.join()}`,
    ).flatMap((same) => same.slice(0, 1)),
    segments: inAll(
      ({ segments }) => segments,
      ({ id }) => id,
    ).flatMap((same) => poolSegments(same)),
  };
}

const sumOf = (values: readonly (number | null)[]): number | null =>
  values.reduce((total, value) => (total === null || value === null ? null : total + value), 0);

function poolBystanders(same: readonly ReportBystander[]): ReportBystander[] {
  const [first] = same;
  if (first === undefined) return [];
  return [{ ...first, frames: sumOf(same.map(({ frames }) => frames)), ranges: [] }];
}

/** The mean of estimates that are about equally sure, with the error of a mean. */
function poolSegments(same: readonly ReportSegment[]): ReportSegment[] {
  const [first] = same;
  if (first === undefined) return [];
  const known = same.flatMap(({ lossRatio, low, high }) =>
    lossRatio === null || low === null || high === null ? [] : [{ lossRatio, low, high }],
  );
  if (known.length < same.length) return [{ ...first, lossRatio: null, low: null, high: null }];
  const mean = known.reduce((sum, { lossRatio }) => sum + lossRatio, 0) / known.length;
  const error = (of: (one: (typeof known)[number]) => number): number => Math.hypot(...known.map(of)) / known.length;
  return [
    {
      ...first,
      lossRatio: mean,
      low: Math.max(0, mean - error(({ lossRatio, low }) => lossRatio - low)),
      high: Math.min(1, mean + error(({ lossRatio, high }) => high - lossRatio)),
    },
  ];
}
