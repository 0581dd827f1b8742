import { followsOthers, type ReportReceipt, type RunReport } from "@dyetrace/wire";
import type { Matrix, Trends } from "@dyetrace/wire/console/run-history";

/** By the name of its column in the CSV of receipts. */
const FIGURES: Readonly<Record<string, (receipt: ReportReceipt) => number | null | undefined>> = {
  loss_ratio: ({ lossRatio }) => lossRatio,
  lost: ({ lost }) => lost,
  host_lost: ({ hostLost }) => hostLost,
  received: ({ received }) => received,
  duplicates: ({ duplicates }) => duplicates,
  reordered: ({ reordered }) => reordered,
  longest_gap_ms: ({ longestGapMs }) => longestGapMs,
  jitter_ms: ({ jitterMs }) => jitterMs,
  jitter_max_ms: ({ jitterMaxMs }) => jitterMaxMs,
  delay_variation_p99_ms: ({ delayVariation }) => delayVariation?.p99Ms,
  delay_factor_max_ms: ({ delayFactorMaxMs }) => delayFactorMaxMs,
  join_delay_ms: ({ joinDelayMs }) => joinDelayMs,
  join_delay_p95_ms: ({ joinDelays }) => joinDelays?.p95Ms,
  leave_delay_ms: ({ leaveDelayMs }) => leaveDelayMs,
  leave_delay_p95_ms: ({ leaveDelays }) => leaveDelays?.p95Ms,
};

/** Of the whole run. */
const RUN_FIGURES: Readonly<Record<string, (report: RunReport) => number | null>> = {
  findings: ({ findings }) => findings.length,
  // What all listeners missed of a stream of others may be no incident: a sum without it would pass for all.
  incidents: ({ incidents, streams }) =>
    followsOthers({ streams }) ? null : (incidents?.reduce((sum, { times }) => sum + (times ?? 1), 0) ?? null),
};

export const FIGURE_NAMES: readonly string[] = [...Object.keys(RUN_FIGURES), ...Object.keys(FIGURES)];

/** Which figures are asked for; what is left out lets every one through. */
export interface TrendQuery {
  readonly figure?: string;
  readonly stream?: string;
  readonly listener?: string;
}

/** Every figure over runs: where a run has no such stream, listener or figure, it is null. Pure. @param reports in order of time */
export function trendsOf(reports: readonly RunReport[], { figure, stream, listener }: TrendQuery): Trends {
  const runs = reports.map(({ run, scenario, startedAt, verdict }) => ({ runId: run, scenario, startedAt, verdict }));
  const isAsked = (name: string): boolean => figure === undefined || figure === name;
  const isWhole = stream === undefined && listener === undefined;
  const whole = Object.entries(RUN_FIGURES).flatMap(([name, of]): Trends["trends"] =>
    isWhole && isAsked(name) ? [{ stream: null, listener: null, figure: name, values: reports.map(of) }] : [],
  );
  const byPair = reports.map(({ receipts }) => new Map(receipts.map((one) => [keyOf(one), one])));
  const pairs = new Map(reports.flatMap(({ receipts }) => receipts.map((one) => [keyOf(one), one] as const)));
  const each = [...pairs].flatMap(([key, pair]): Trends["trends"] => {
    if ((stream ?? pair.stream) !== pair.stream || (listener ?? pair.listener) !== pair.listener) return [];
    return Object.entries(FIGURES).flatMap(([name, of]) => {
      if (!isAsked(name)) return [];
      const values = byPair.map((receipts) => {
        const receipt = receipts.get(key);
        return receipt === undefined ? null : (of(receipt) ?? null);
      });
      return values.every((one) => one === null)
        ? []
        : [{ stream: pair.stream, listener: pair.listener, figure: name, values }];
    });
  });
  return { runs, trends: [...whole, ...each] };
}

const keyOf = ({ stream, listener }: ReportReceipt): string => JSON.stringify([stream, listener]);

/** Every listener of a run against every stream. Pure. */
export function matrixOf({ run, receipts, streams }: RunReport): Matrix {
  const names = streams.map(({ name }) => name);
  const byPair = new Map(receipts.map((one) => [keyOf(one), one]));
  const listeners = [...new Set(receipts.map(({ listener }) => listener))].toSorted();
  return {
    runId: run,
    streams: names,
    rows: listeners.map((listener) => ({
      listener,
      cells: names.map((stream) => {
        const receipt = byPair.get(JSON.stringify([stream, listener]));
        return receipt === undefined ? null : cellOf(receipt);
      }),
    })),
  };
}

const cellOf = (receipt: ReportReceipt) => ({
  received: receipt.received,
  lost: receipt.lost,
  lossRatio: receipt.lossRatio,
  hostLost: receipt.hostLost,
  duplicates: receipt.duplicates,
  reordered: receipt.reordered,
  longestGapMs: receipt.longestGapMs,
  jitterMs: receipt.jitterMs,
  joinDelayMs: receipt.joinDelayMs,
  leaveDelayMs: receipt.leaveDelayMs,
});
