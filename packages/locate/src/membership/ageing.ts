import { count, nameList, seconds } from "../finding/wording.ts";
import { type AddressFamily, familyOf, protocolOf } from "../run/address-family.ts";
import type { ListenerObservation } from "../run/run-observations.ts";
import type { MembershipContext } from "./membership-context.ts";
import { membershipMs } from "./querier-timing.ts";

/** A listener that gets nothing more of a group. */
export interface MembershipEnd {
  readonly listener: ListenerObservation;
  readonly group: string;
  /** When its silence begins. */
  readonly atMs: number;
}

/** Why a membership that was not renewed ran out. */
export interface Ageing {
  /** Shortest time from the last report to the first missing packet. */
  readonly afterMs: number;
  /** Some ran out later than that. */
  readonly isLeast: boolean;
  /** The segments, nodes or hosts to look at; empty: those of the stop itself. */
  readonly suspects: readonly string[];
  readonly isCertain: boolean;
  /** What the time counts from: no report is known where nobody watched for them. */
  readonly since: "the last report" | "the join";
  readonly evidence: readonly string[];
}

/** Times that differ by less are told as one. */
const SAME_MS = 100;
/** A membership outlasts at least one missed query: two intervals and more by default (RFC 3376, section 8.4). */
const LEAST_INTERVALS = 1.5;
/** How far from the group membership interval (RFC 3376, section 8.4) a stop may come. The share: common practice, no source. */
const TIME_TOLERANCE = 0.15;

/**
 * Streams that end some time after the last report while the source and the way are good: nobody asked the hosts to
 * report again, or they did not answer. A dead link looks different: it stops right between reports and queries.
 */
export function ageingOf(
  silent: readonly MembershipEnd[],
  { queries: view, timersOf }: Pick<MembershipContext, "queries" | "timersOf">,
): Ageing | null {
  const ends = silent.map(({ listener, group, atMs }) => {
    const reported = view.lastReportMs(listener.host, group, atMs);
    const sinceMs = reported ?? listener.joinedFromMs;
    const family = familyOf(group);
    const timers = timersOf(family);
    // Where nobody heard a query there may be one in every interval: no membership has run out before its whole time.
    const leastMs = view.isAnyHeard(family)
      ? LEAST_INTERVALS * timers.queryIntervalMs
      : (1 - TIME_TOLERANCE) * membershipMs(timers);
    return {
      host: listener.host,
      family,
      timers,
      reported,
      sinceMs,
      atMs,
      quietMs: atMs - sinceMs,
      isLongQuiet: atMs - sinceMs >= leastMs,
      received: listener.receivedPackets,
    };
  });
  const [first] = ends;
  if (first === undefined || ends.some((end) => end.received === 0)) return null;
  const afterMs = Math.min(...ends.map((end) => end.quietMs));
  const isLeast = ends.some((end) => end.quietMs - afterMs > SAME_MS);
  const hosts = ends.map((end) => end.host);
  const since = ends.some((end) => end.reported === null) ? "the join" : "the last report";
  const responseMs = Math.max(...ends.map(({ timers }) => timers.queryResponseMs));
  const heard = ends.map(({ host, family, sinceMs, timers, atMs }) =>
    view.heard(host, family, sinceMs + timers.queryResponseMs, atMs),
  );
  const isLongQuiet = ends.every((end) => end.isLongQuiet);

  if (isLongQuiet && heard.every((h) => h === false)) {
    const fromMs = Math.max(...ends.map((end) => end.sinceMs)) + responseMs;
    const toMs = Math.max(fromMs + 1, ...ends.map((end) => end.atMs));
    const families = [...new Set(ends.map(({ family }) => family))];
    const suspects = families.flatMap((family) => {
      const host = ends.find((end) => end.family === family)?.host ?? first.host;
      return view.whereQueriesStop(host, family, fromMs, toMs);
    });
    const elsewhere = view.hosts.filter(
      (host) => !hosts.includes(host) && families.every((family) => view.heard(host, family, fromMs, toMs)),
    );
    return {
      afterMs,
      suspects: [...new Set(suspects)],
      isCertain: elsewhere.length > 0,
      since,
      isLeast,
      evidence: [
        `${nameList(hosts)} heard no ${protocolsOf(families)} query from ${seconds(responseMs)} after ${since} to the stop.`,
        elsewhere.length > 0
          ? `${nameList(elsewhere)} heard queries in that time, so a querier is there and its queries stop on the way.`
          : "No other host heard one in that time either.",
      ],
    };
  }
  // A query just before the stop may still be answered after it.
  const areAsked = ends.every(({ host, family, sinceMs, timers, atMs }) =>
    view.came(host, family, sinceMs + timers.queryResponseMs, atMs - timers.queryResponseMs),
  );
  // Only where the host's own reports are seen at all does their absence say anything.
  const areReportsSeen = ends.every((end) => end.reported !== null);
  if (isLongQuiet && areReportsSeen && areAsked) {
    return {
      afterMs,
      suspects: [...new Set(hosts)],
      isCertain: true,
      since,
      isLeast,
      evidence: [
        `Queries came to ${nameList(hosts)}, but ${count(new Set(hosts).size, "host")} sent no report after them.`,
      ],
    };
  }
  const fitsTimer = ends.every(
    ({ quietMs, timers }) => Math.abs(quietMs - membershipMs(timers)) <= TIME_TOLERANCE * membershipMs(timers),
  );
  if (!fitsTimer || heard.some((h) => h !== null)) return null;
  return {
    afterMs,
    suspects: [],
    isCertain: false,
    since,
    isLeast,
    evidence: [
      `The stop came ${seconds(afterMs)} after ${since}, which fits the group membership interval of ${seconds(membershipMs(first.timers))}.`,
    ],
  };
}

const protocolsOf = (families: readonly AddressFamily[]): string => families.map(protocolOf).join(" or ");
