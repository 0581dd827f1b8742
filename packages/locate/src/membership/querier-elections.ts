import { electQuerier } from "@dyetrace/measure";
import type { QuerierHeard, QuerierObservation } from "../run/run-observations.ts";
import { hasAddress } from "./querier-timing.ts";

/** One querier after another. Times in ms of the run. */
export interface Election {
  /** The first query of the one that asks from then on, where it was heard first. */
  readonly atMs: number;
  readonly from: string;
  readonly to: string;
  /** `won`: the lower address silenced the other (RFC 3376, section 6.6.2); `stood-in`: the other had fallen silent (section 8.5). */
  readonly how: "won" | "stood-in";
  /** From the last query of the one to the first of the other. */
  readonly silenceMs: number;
  readonly heardBy: readonly string[];
}

/** What the one that loses may still send. Common practice, no source. */
const LAST_WORD_MS = 500;

/** Each change of the querier, once, whoever heard it. @param watching what the hosts of one domain heard of one family */
export function electionsIn(watching: readonly QuerierObservation[]): Election[] {
  const found = new Map<string, Election>();
  for (const { host, queriers } of watching) {
    for (const one of changesAt(queriers.filter(hasAddress))) {
      const key = `${one.from} ${one.to} ${one.how}`;
      const known = found.get(key);
      found.set(
        key,
        known === undefined
          ? { ...one, heardBy: [host] }
          : { ...known, heardBy: [...new Set([...known.heardBy, host])] },
      );
    }
  }
  return [...found.values()].sort((a, b) => a.atMs - b.atMs);
}

function changesAt(stretches: readonly QuerierHeard[]): Omit<Election, "heardBy">[] {
  const ordered = stretches.toSorted((a, b) => a.firstMs - b.firstMs);
  return ordered.slice(1).flatMap((after, at) => {
    const before = ordered[at];
    // One that goes on asking beside it was not succeeded.
    if (before === undefined || before.address === after.address || before.lastMs > after.firstMs + LAST_WORD_MS)
      return [];
    const isLower = electQuerier([before.address, after.address]) === after.address;
    const silenceMs = Math.max(0, after.firstMs - before.lastMs);
    const isDue = silenceMs <= 1.5 * (before.intervalMs ?? Number.POSITIVE_INFINITY);
    const how = isLower && isDue ? ("won" as const) : ("stood-in" as const);
    return [{ atMs: after.firstMs, from: before.address, to: after.address, how, silenceMs }];
  });
}
