import type { IntervalReport } from "@dyetrace/wire";
import type { IntervalPart } from "../workers/worker-protocol.ts";
import type { HostCounters } from "./host-counters.ts";
import type { WifiWatch } from "./wifi-watch.ts";

/** Joins what the threads report of the same interval into one report, in order. */
export class IntervalMerge {
  readonly #counters: HostCounters;
  readonly #wifi: WifiWatch | null;
  readonly #parts: Map<string, IntervalPart[]>;
  /** Last part of each thread that has ended; null for one that died. */
  readonly #ended = new Map<string, IntervalPart | null>();
  #toNs = 0;

  /** @param roles the threads that take part */
  constructor(roles: readonly string[], counters: HostCounters, wifi: WifiWatch | null = null) {
    this.#counters = counters;
    this.#wifi = wifi;
    this.#parts = new Map(roles.map((role) => [role, []]));
  }

  /** @returns the reports that are complete now, none or more */
  add(role: string, part: IntervalPart): IntervalReport[] {
    this.#parts.get(role)?.push(part);
    if (part.totals !== null) this.#ended.set(role, part);
    return this.#complete();
  }

  /** A thread died: its share is missing from now on. */
  lose(role: string): IntervalReport[] {
    this.#ended.set(role, null);
    return this.#complete();
  }

  #complete(): IntervalReport[] {
    const reports: IntervalReport[] = [];
    for (;;) {
      const roles = [...this.#parts];
      const parts = roles.flatMap(([, waiting]) => waiting[0] ?? []);
      const isWaited = roles.some(([role, waiting]) => waiting.length === 0 && !this.#ended.has(role));
      if (isWaited || (parts.length === 0 && !this.#hasOnlyDead())) return reports;
      for (const [, waiting] of roles) waiting.shift();
      const isLast = roles.every(([role, waiting]) => waiting.length === 0 && this.#ended.has(role));
      reports.push(this.#join(parts, isLast));
      if (isLast) return reports;
    }
  }

  /** Every thread died before its last report, and nothing is left to say but that. */
  #hasOnlyDead(): boolean {
    return [...this.#parts.keys()].every((role) => this.#ended.get(role) === null);
  }

  #join(parts: readonly IntervalPart[], isLast: boolean): IntervalReport {
    const steps = parts.find((part) => part.wallClockSteps !== null)?.wallClockSteps ?? null;
    const totals = [...this.#ended.values()].flatMap((part) => part?.totals ?? []);
    const fromNs = this.#toNs;
    this.#toNs = Math.max(fromNs, ...parts.map((part) => part.toNs));
    const wifi = this.#wifi?.since(this.#toNs) ?? [];
    return {
      fromNs,
      toNs: this.#toNs,
      listeners: parts.flatMap((part) => part.listeners),
      senders: parts.flatMap((part) => part.senders),
      host: { ...this.#counters.since(), wallClockSteps: steps },
      ...(wifi.length === 0 ? {} : { wifi }),
      sourcesStopped:
        parts.map((part) => part.sourcesStopped).find((stopped) => stopped !== null) ??
        this.#ended.get("sender")?.sourcesStopped ??
        null,
      totals: isLast
        ? {
            listeners: totals.flatMap((total) => total.listeners),
            senders: totals.flatMap((total) => total.senders),
          }
        : null,
    };
  }
}
