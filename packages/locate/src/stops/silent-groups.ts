import { countRanges, intersectRanges } from "@dyetrace/measure";
import { groupBy } from "@dyetrace/wire";
import type { TimeSpan } from "../run/run-observations.ts";
import type { SilentPair } from "./silent-pair.ts";

/** Hosts that are silent of the same streams. */
export interface SilentGroup {
  readonly hosts: readonly string[];
  readonly streams: readonly string[];
  /** Null when none of them ever got a packet of these streams. */
  readonly time: SilentTime | null;
}

/** When several are silent. */
export interface SilentTime {
  /** When the first of them fell silent, and from when on all are. */
  readonly firstMs: number;
  readonly allMs: number;
  /** Until when all are; null when nothing came any more to any of them. */
  readonly untilMs: number | null;
}

/** Pairs of one silence, put together by who is silent of what. */
export function silentGroups(pairs: readonly SilentPair[]): SilentGroup[] {
  const byHosts = new Map<string, SilentPair[]>();
  for (const same of groupBy(pairs, ({ trial }) => trial.facts.stream.stream).values()) {
    const key = hostsOf(same).toSorted().join(" ");
    byHosts.set(key, [...(byHosts.get(key) ?? []), ...same]);
  }
  return [...byHosts.values()].map((same) => ({
    hosts: hostsOf(same),
    streams: [...new Set(same.map(({ trial }) => trial.facts.stream.stream))],
    time: silentTime(same),
  }));
}

const hostsOf = (pairs: readonly SilentPair[]): string[] => [
  ...new Set(pairs.map(({ receipt }) => receipt.listener.host)),
];

/** @returns null when nothing ever came to any of them */
export function silentTime(pairs: readonly SilentPair[]): SilentTime | null {
  if (pairs.every(({ receipt }) => receipt.listener.receivedPackets === 0)) return null;
  const starts = pairs.map(({ atMs }) => atMs);
  const cameBack = pairs.filter(cameLater);
  return {
    firstMs: Math.min(...starts),
    allMs: Math.max(...starts),
    untilMs: cameBack.length === 0 ? null : Math.min(...cameBack.map(({ span }) => span.endMs)),
  };
}

/** Packets of another size may have come once those of this one were over. */
function cameLater({ trial, receipt: { window, lost } }: SilentPair): boolean {
  const from = trial.numbers[1] + 1;
  const later = window[1] - from + 1;
  return later > 0 && countRanges(intersectRanges(lost, [[from, window[1]]])) < later;
}

/** The time in which all are silent. */
export const wholeSpan = (time: SilentTime | null): TimeSpan => ({
  startMs: time?.allMs ?? Number.NEGATIVE_INFINITY,
  endMs: time?.untilMs ?? Number.POSITIVE_INFINITY,
});
