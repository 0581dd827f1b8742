import type { AddressFamily } from "../run/address-family.ts";
import type { MembershipTimers, QuerierHeard, QuerierObservation, RunObservations } from "../run/run-observations.ts";

/** Timers of a family, as far as its own queries tell them. */
export const timersOf = ({ timers, mldTimers }: RunObservations, family: AddressFamily): MembershipTimers =>
  family === 6 ? (mldTimers ?? timers) : timers;

/** Of a family. What a host sent itself it has not heard. */
export const heardFrom = ({ queriers }: Pick<QuerierObservation, "queriers">, family: AddressFamily): QuerierHeard[] =>
  queriers.filter((one) => one.family === family && one.isOwn !== true);

/** When its queries came. */
export function queryTimes({ queries, firstMs, lastMs }: QuerierHeard): number[] {
  if (queries < 2) return [firstMs];
  const stepMs = (lastMs - firstMs) / (queries - 1);
  return Array.from({ length: queries }, (_, i) => firstMs + i * stepMs);
}

/** Its own timers where it tells them, else the family's. */
export function ownTimers(querier: QuerierHeard, timers: MembershipTimers): MembershipTimers {
  const { intervalMs, maxResponseMs, robustness } = querier;
  return {
    ...timers,
    queryIntervalMs: intervalMs ?? timers.queryIntervalMs,
    queryResponseMs: maxResponseMs ?? timers.queryResponseMs,
    robustness: robustness ?? timers.robustness,
  };
}

/** After this time without a query another querier has to take over (RFC 3376, section 8.5; RFC 3810, section 9.5). */
export const presentMs = ({ robustness, queryIntervalMs, queryResponseMs }: MembershipTimers): number =>
  robustness * queryIntervalMs + queryResponseMs / 2;

/** A membership that nobody renews lasts this long (RFC 3376, section 8.4; RFC 3810, section 9.4). */
export const membershipMs = ({ robustness, queryIntervalMs, queryResponseMs }: MembershipTimers): number =>
  robustness * queryIntervalMs + queryResponseMs;

/** A single query may be the last of one that lost the election (RFC 3376, section 6.6.2). */
const LEAST_QUERIES = 2;

/** 0.0.0.0 and :: take no part in the election (RFC 4541, section 2.1.1, rule 4). */
export const hasAddress = ({ address }: Pick<QuerierHeard, "address">): boolean => !["0.0.0.0", "::"].includes(address);

/** It asks again and again in the run, from an address of its own. */
export const isLasting = (querier: QuerierHeard): boolean =>
  querier.queries >= LEAST_QUERIES && hasAddress(querier) && isOfRun(querier);

/** Its last query is not from before the run, or from so shortly before that the next is not due yet. */
export const isOfRun = ({ lastMs, intervalMs }: QuerierHeard): boolean => lastMs >= -(intervalMs ?? 0);
