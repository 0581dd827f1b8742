import type { ReportReceipt, RunReport } from "@dyetrace/wire";
import { parseDurationNs } from "@dyetrace/wire/units";
import { delayDistribution } from "./delay-distribution.ts";

/** How long joins or leaves took at one listener, or at all of a stream's together. */
export interface DelayLine {
  readonly stream: string;
  /** Null: all of the stream's listeners together. */
  readonly listener: string | null;
  /** How many could be measured; the next three are null where none could. */
  readonly trials: number;
  readonly medianMs: number | null;
  readonly p95Ms: number | null;
  readonly maxMs: number | null;
  readonly valuesMs: readonly number[];
  /** Leaves after which the stream came until the watch or the stream ended, and the longest that was waited then. */
  readonly withoutEffect: number;
  readonly atLeastMs: number | null;
}

export interface DelayTable {
  readonly what: "join" | "leave";
  /** What the scenario allows 95 of 100 to take; null where it states none. */
  readonly limit: string | null;
  readonly limitMs: number | null;
  /** Null where it could not be judged, and where there is no limit. */
  readonly isMet: boolean | null;
  /** The slowest first. */
  readonly lines: readonly DelayLine[];
}

/** Join and leave delays as distributions, held against the scenario's limits; what nobody could measure has no line. */
export function delayTables(report: RunReport): DelayTable[] {
  return (["join", "leave"] as const).flatMap((what): DelayTable[] => {
    const single = report.receipts.flatMap((receipt) => lineOf(receipt, what));
    if (single.length === 0) return [];
    const expectation = report.expectations.find((one) => one.what === `${what} delay`);
    const limit = expectation?.limit ?? null;
    return [
      {
        what,
        limit,
        limitMs: limit === null ? null : limit === "0" ? 0 : parseDurationNs(limit) / 1e6,
        isMet: expectation?.met ?? null,
        lines: [...together(single), ...single.toSorted((a, b) => slowness(b) - slowness(a))],
      },
    ];
  });
}

const slowness = ({ maxMs, atLeastMs }: DelayLine): number => Math.max(maxMs ?? -1, atLeastMs ?? -1);

function lineOf(receipt: ReportReceipt, what: DelayTable["what"]): DelayLine[] {
  const delays = what === "join" ? receipt.joinDelays : receipt.leaveDelays;
  const atLeastMs = what === "join" ? null : (receipt.leaveDelayAtLeastMs ?? null);
  if (delays === null && atLeastMs === null) return [];
  return [
    {
      stream: receipt.stream,
      listener: receipt.listener,
      trials: delays?.trials ?? 0,
      medianMs: delays?.medianMs ?? null,
      p95Ms: delays?.p95Ms ?? null,
      maxMs: delays?.maxMs ?? null,
      valuesMs: delays?.valuesMs ?? [],
      withoutEffect: atLeastMs === null ? 0 : (receipt.leavesWithoutEffect ?? 0),
      atLeastMs,
    },
  ];
}

/** One line for each stream with several listeners, over every value that is kept. */
function together(single: readonly DelayLine[]): DelayLine[] {
  return [...new Set(single.map(({ stream }) => stream))].flatMap((stream): DelayLine[] => {
    const own = single.filter((line) => line.stream === stream);
    const valuesMs = own.flatMap((line) => line.valuesMs);
    const spread = delayDistribution(valuesMs.map((ms) => ({ delayNs: ms * 1e6, resolutionNs: 0 })));
    if (own.length < 2 || spread === null) return [];
    const open = own.flatMap(({ atLeastMs }) => atLeastMs ?? []);
    return [
      {
        stream,
        listener: null,
        trials: spread.trials,
        medianMs: spread.medianNs / 1e6,
        p95Ms: spread.p95Ns / 1e6,
        maxMs: spread.maxNs / 1e6,
        valuesMs,
        withoutEffect: own.reduce((sum, line) => sum + line.withoutEffect, 0),
        atLeastMs: open.length === 0 ? null : Math.max(...open),
      },
    ];
  });
}
