import { count, nameList, seconds } from "../finding/wording.ts";
import type { ListenerObservation } from "../run/run-observations.ts";
import type { MembershipContext } from "./membership-context.ts";

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
  { queries: view, timers }: Pick<MembershipContext, "queries" | "timers">,
): Ageing | null {
  const ends = silent.map(({ listener, group, atMs }) => {
    const reported = view.lastReportMs(listener.host, group, atMs);
    const sinceMs = reported ?? listener.joinedFromMs;
    return {
      host: listener.host,
      reported,
      sinceMs,
      atMs,
      quietMs: atMs - sinceMs,
      received: listener.receivedPackets,
    };
  });
  if (ends.length === 0 || ends.some((end) => end.received === 0)) return null;
  const afterMs = Math.min(...ends.map((end) => end.quietMs));
  const membershipMs = timers.robustness * timers.queryIntervalMs + timers.queryResponseMs;
  // Where nobody heard a query there may be one in every interval: no membership has run out before its whole time.
  const leastMs = view.isAnyHeard ? LEAST_INTERVALS * timers.queryIntervalMs : (1 - TIME_TOLERANCE) * membershipMs;
  const isLeast = ends.some((end) => end.quietMs - afterMs > SAME_MS);
  const hosts = ends.map((end) => end.host);
  const since = ends.some((end) => end.reported === null) ? "the join" : "the last report";
  const heard = ends.map(({ host, sinceMs, atMs }) => view.heard(host, sinceMs + timers.queryResponseMs, atMs));

  if (afterMs >= leastMs && heard.every((h) => h === false)) {
    const fromMs = Math.max(...ends.map((end) => end.sinceMs)) + timers.queryResponseMs;
    const suspects = view.whereQueriesStop(
      hosts[0] ?? "",
      fromMs,
      Math.max(fromMs + 1, ...ends.map((end) => end.atMs)),
    );
    const elsewhere = view.hosts.filter(
      (host) => !hosts.includes(host) && view.heard(host, fromMs, Number.POSITIVE_INFINITY),
    );
    return {
      afterMs,
      suspects,
      isCertain: elsewhere.length > 0,
      since,
      isLeast,
      evidence: [
        `${nameList(hosts)} heard no query from ${seconds(timers.queryResponseMs)} after ${since} to the stop.`,
        elsewhere.length > 0
          ? `${nameList(elsewhere)} heard queries in that time, so a querier is there and its queries stop on the way.`
          : "No other host heard one in that time either.",
      ],
    };
  }
  // Only where the host's own reports are seen at all does their absence say anything.
  const areReportsSeen = ends.every((end) => end.reported !== null);
  if (afterMs >= leastMs && areReportsSeen && heard.every((h) => h === true)) {
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
  const fitsTimer = ends.every((end) => Math.abs(end.quietMs - membershipMs) <= TIME_TOLERANCE * membershipMs);
  if (!fitsTimer || heard.some((h) => h !== null)) return null;
  return {
    afterMs,
    suspects: [],
    isCertain: false,
    since,
    isLeast,
    evidence: [
      `The stop came ${seconds(afterMs)} after ${since}, which fits the group membership interval of ${seconds(membershipMs)}.`,
    ],
  };
}
