import type { IntervalReport, ListenerInterval, WatcherReport } from "@dyetrace/wire";

export class SimulatedListener {
  received: number;
  lost: number;
  constructor(streamId: number, packetsPerSecond: number);
  second(second: number, isLost: (seq: number) => boolean): ListenerInterval;
  finish(second: number): ListenerInterval;
}

export function reportOf(
  second: number,
  listeners: readonly ListenerInterval[],
  totals?: IntervalReport["totals"],
): { readonly report: IntervalReport; readonly watch: WatcherReport };
