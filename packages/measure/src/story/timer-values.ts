import type { StoryTimer } from "@dyetrace/wire";
import type { Said } from "./said.ts";
import { sayMs } from "./say-span.ts";

/** Timers that are known of a site without its queries telling them, such as a practice site's. */
export interface SiteTimers {
  readonly membershipMs: number;
  readonly otherQuerierMs: number;
  /** How many queries about one group are sent after a leave. */
  readonly lastMemberQueries: number;
}

export type TimerValue = Pick<StoryTimer, "valueMs" | "sum" | "source">;

/** RFC 3376, sections 8.1 to 8.3 and 8.8; RFC 3810, sections 9.1 to 9.3 and 9.8. */
const DEFAULT_ROBUSTNESS = 2;
const DEFAULT_INTERVAL_MS = 125_000;
const DEFAULT_RESPONSE_MS = 10_000;
const DEFAULT_LAST_MEMBER_MS = 1_000;
/** A querier's first queries come in quicker succession (section 8.6): fewer gaps between queries tell no interval. */
const LEAST_GAPS = 3;

/**
 * The figures in force at an instant: those of the latest query, as routers adopt them (RFC 3376, sections 4.1.6 and
 * 4.1.7), or of the first one after it where none came before.
 */
interface Figures {
  readonly robustness: number;
  readonly intervalMs: number;
  readonly responseMs: number;
  readonly source: TimerValue["source"];
}

/** @param queries about all groups, of one family, in the order of time */
function figuresAt(queries: readonly Said[], atMs: number): Figures {
  const before = queries.filter((query) => query.atMs <= atMs);
  const query = before.at(-1) ?? queries[0];
  if (query === undefined) {
    return {
      robustness: DEFAULT_ROBUSTNESS,
      intervalMs: DEFAULT_INTERVAL_MS,
      responseMs: DEFAULT_RESPONSE_MS,
      source: "default",
    };
  }
  const robustness = query.robustness ?? DEFAULT_ROBUSTNESS;
  const responseMs = query.maxResponseMs ?? DEFAULT_RESPONSE_MS;
  if (query.queryIntervalMs !== null)
    return { robustness, intervalMs: query.queryIntervalMs, responseMs, source: "queries" };
  const measuredMs = intervalSeen(queries.filter(({ address }) => address === query.address));
  return measuredMs === null
    ? { robustness, intervalMs: DEFAULT_INTERVAL_MS, responseMs, source: "default" }
    : { robustness, intervalMs: measuredMs, responseMs, source: "measured" };
}

/** The middle of the times from query to query. */
function intervalSeen(queries: readonly Said[]): number | null {
  const gaps = queries.slice(1).flatMap(({ atMs }, i) => {
    const gapMs = atMs - (queries[i]?.lastMs ?? atMs);
    return gapMs > 0 ? [gapMs] : [];
  });
  if (gaps.length < LEAST_GAPS) return null;
  return gaps.sort((a, b) => a - b)[Math.floor(gaps.length / 2)] ?? null;
}

/** What a site's own timers say counts before what would have to be guessed. */
const known = (own: TimerValue, siteMs: number | undefined): TimerValue =>
  own.source === "queries" || siteMs === undefined
    ? own
    : { valueMs: siteMs, sum: "as the site was built", source: "site" };

/** Robustness x query interval + query response interval: RFC 3376, section 8.4; RFC 3810, section 9.4. */
export function membershipValue(queries: readonly Said[], atMs: number, site: SiteTimers | null): TimerValue {
  const { robustness, intervalMs, responseMs, source } = figuresAt(queries, atMs);
  const sum = `${robustness} x ${sayMs(intervalMs)} + ${sayMs(responseMs)}`;
  return known({ valueMs: robustness * intervalMs + responseMs, sum, source }, site?.membershipMs);
}

/** Robustness x query interval + half of the query response interval: RFC 3376, section 8.5; RFC 3810, section 9.5. */
export function otherQuerierValue(queries: readonly Said[], atMs: number, site: SiteTimers | null): TimerValue {
  const { robustness, intervalMs, responseMs, source } = figuresAt(queries, atMs);
  const sum = `${robustness} x ${sayMs(intervalMs)} + ${sayMs(responseMs)} / 2`;
  return known({ valueMs: robustness * intervalMs + responseMs / 2, sum, source }, site?.otherQuerierMs);
}

/**
 * Last member query interval x last member query count, which is the robustness: RFC 3376, sections 8.8 to 8.10; RFC 3810,
 * sections 9.8 to 9.10.
 * @param query about the group; null where none was heard
 */
export function lastMemberValue(query: Said | null, site: SiteTimers | null): TimerValue {
  const intervalMs = query?.maxResponseMs ?? DEFAULT_LAST_MEMBER_MS;
  const count = query?.robustness ?? site?.lastMemberQueries ?? DEFAULT_ROBUSTNESS;
  const source =
    query === null ? "default" : query.robustness !== null ? "queries" : site === null ? "default" : "site";
  return { valueMs: count * intervalMs, sum: `${count} x ${sayMs(intervalMs)}`, source };
}

const NAMES = {
  membership: {
    4: ["group membership interval", "RFC 3376, section 8.4"],
    6: ["multicast address listening interval", "RFC 3810, section 9.4"],
  },
  "last-member": {
    4: ["last member query time", "RFC 3376, section 8.10"],
    6: ["last listener query time", "RFC 3810, section 9.10"],
  },
  "other-querier": {
    4: ["other querier present interval", "RFC 3376, section 8.5"],
    6: ["other querier present timeout", "RFC 3810, section 9.5"],
  },
} as const;

export function timerName(kind: StoryTimer["kind"], family: 4 | 6): Pick<StoryTimer, "name" | "reference"> {
  const [name, reference] = NAMES[kind][family];
  return { name, reference };
}
