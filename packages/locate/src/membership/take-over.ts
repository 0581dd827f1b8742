import { electQuerier } from "@dyetrace/measure";
import type { QuerierHeard, QuerierObservation } from "../run/run-observations.ts";
import { hasAddress, isOfRun } from "./querier-timing.ts";

/** At one host: a querier fell silent as one with a lower address began to ask. Times in ms of the run. */
export interface TakeOver {
  readonly host: string;
  readonly before: QuerierHeard;
  readonly after: QuerierHeard;
}

/** What a querier may still send after it has heard the lower address. Common practice, no source. */
const LAST_WORD_MS = 500;
/** A silence of more than this many of its intervals is none that a lost query makes. Common practice, no source. */
const MISSED_INTERVALS = 1.5;

/**
 * The lowest address wins the election, and whoever hears it falls silent (RFC 3376, section 6.6.2; RFC 3810, section
 * 7.6.2). One query is enough; a switch that has no part in the election may send one from 0.0.0.0 (RFC 4541, section
 * 2.1.1, rule 4), so that is never taken for one.
 */
export function takeOverAt({ host, queriers, watchedToMs }: QuerierObservation): TakeOver | null {
  const asking = queriers.filter((one) => isOfRun(one));
  for (const after of asking.filter(hasAddress)) {
    const before = asking.find((one) => isTakenOver(one, after, asking, watchedToMs));
    if (before !== undefined) return { host, before, after };
  }
  return null;
}

function isTakenOver(
  before: QuerierHeard,
  after: QuerierHeard,
  asking: readonly QuerierHeard[],
  watchedToMs: number,
): boolean {
  if (before.family !== after.family || before.address === after.address) return false;
  if (before.firstMs >= after.firstMs || before.lastMs > after.firstMs + LAST_WORD_MS) return false;
  if (electQuerier([before.address, after.address]) !== after.address) return false;
  const intervalMs = before.intervalMs ?? Number.POSITIVE_INFINITY;
  // Long silent before that: it went by itself, and the other stands in for it.
  if (after.firstMs - before.lastMs > MISSED_INTERVALS * intervalMs) return false;
  const next = asking.find(({ address, firstMs }) => address === before.address && firstMs > before.lastMs);
  const silentMs = (next?.firstMs ?? watchedToMs) - before.lastMs;
  return after.queries > 1 || silentMs > MISSED_INTERVALS * intervalMs;
}
