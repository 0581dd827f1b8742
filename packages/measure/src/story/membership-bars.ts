import type { StoryTimer } from "@dyetrace/wire";
import type { Said } from "./said.ts";
import type { Telling } from "./story-marks.ts";
import { lastMemberValue, membershipValue, type SiteTimers, type TimerValue, timerName } from "./timer-values.ts";

/** What the timers of one host's membership in one group are told from; all of one family, in the order of time. */
export interface MembershipHistory {
  readonly lane: string;
  readonly group: string;
  readonly family: 4 | 6;
  /** Reports, joins and leaves of this host. */
  readonly own: readonly Said[];
  /** Queries about all groups, whoever heard them, and such about this group. */
  readonly queries: readonly Said[];
  readonly groupQueries: readonly Said[];
  /** Those of the latter that this host's switch acts on. */
  readonly heeded: readonly Said[];
  /** Reports and joins of hosts that share this one's port of a switch: they keep the group there as well. */
  readonly neighbours: readonly Said[];
  readonly site: SiteTimers | null;
  readonly untilMs: number;
}

/** A leave is answered within this time, or not at all: a second for a querier that is busy. Common practice, no source. */
const ANSWERED_WITHIN_MS = 1_000;
/** Clocks of two hosts may put the answer before the question. */
const CLOCKS_MS = 100;

/** The query about a group that came upon a leave. */
export const answerTo = (leave: Said, groupQueries: readonly Said[]): Said | null =>
  groupQueries.find(({ atMs }) => atMs >= leave.atMs - CLOCKS_MS && atMs <= leave.atMs + ANSWERED_WITHIN_MS) ?? null;

/**
 * The timers that keep one membership in the switches and routers on its way: set anew by each report, cut short by each
 * query about the group, whoever's leave it is about: whoever is still a member has to answer it.
 * @see RFC 3376, sections 6.4.1 and 6.6.3; RFC 3810, sections 7.4.1 and 7.6.3
 */
export function membershipBars(history: MembershipHistory): StoryTimer[] {
  const { own, neighbours, queries, groupQueries, heeded, site, untilMs } = history;
  const bars = new OpenBars(history);
  // Whoever leaves is asked at its own port, whether the question came to it or not.
  const asked = own.flatMap((said) => (said.kind === "leave" ? (answerTo(said, groupQueries) ?? []) : []));
  const events = [
    ...own.filter(({ kind }) => kind !== "leave").map((said) => ({ said, what: "own" })),
    ...neighbours.map((said) => ({ said, what: "neighbour" })),
    ...[...new Set([...asked, ...heeded])].map((said) => ({ said, what: "query" })),
  ].sort((a, b) => a.said.atMs - b.said.atMs);
  for (const { said, what } of events) {
    if (what === "query") bars.shorten(said.atMs, lastMemberValue(said, site));
    // Whoever else sits at this port keeps a membership that there is, and begins none of this host's.
    else if (what === "own" || bars.isRunningAt(said.atMs))
      bars.renew(said.atMs, said.lastMs, membershipValue(queries, said.atMs, site));
  }
  return bars.close(untilMs);
}

type Kind = "membership" | "last-member";

interface Running {
  readonly kind: Kind;
  readonly fromMs: number;
  readonly dueMs: number;
  readonly value: TimerValue;
}

/** One timer at a time, and those that have ended. */
class OpenBars {
  readonly #history: MembershipHistory;
  readonly #ended: StoryTimer[] = [];
  #running: Running | null = null;

  constructor(history: MembershipHistory) {
    this.#history = history;
  }

  isRunningAt(atMs: number): boolean {
    return this.#running !== null && this.#running.dueMs > atMs;
  }

  /** @param lastMs of several renewals that are told as one, the last */
  renew(atMs: number, lastMs: number, value: TimerValue): void {
    this.#end(atMs, "renewed");
    this.#running = { kind: "membership", fromMs: lastMs, dueMs: lastMs + value.valueMs, value };
    if (lastMs > atMs) this.#ended.push(this.#told({ ...this.#running, fromMs: atMs }, lastMs, "renewed"));
  }

  shorten(atMs: number, value: TimerValue): void {
    const before = this.#running;
    // A timer that runs out sooner by itself is left alone (RFC 3376, section 6.6.3.1).
    if (before === null || before.dueMs <= atMs + value.valueMs) return;
    this.#end(atMs, "shortened");
    this.#running = { kind: "last-member", fromMs: atMs, dueMs: atMs + value.valueMs, value };
  }

  close(untilMs: number): StoryTimer[] {
    this.#end(untilMs, "open");
    return this.#ended;
  }

  #end(atMs: number, end: StoryTimer["end"]): void {
    const running = this.#running;
    if (running === null) return;
    const hasRunOut = running.dueMs <= atMs;
    this.#ended.push(this.#told(running, hasRunOut ? running.dueMs : atMs, hasRunOut ? "ran-out" : end));
    this.#running = null;
  }

  #told({ kind, fromMs, value }: Running, toMs: number, end: StoryTimer["end"]): StoryTimer {
    const { lane, group, family } = this.#history;
    return { lane, kind, ...timerName(kind, family), family, group, fromMs, ...value, toMs, end };
  }
}

/** Everything about one membership, picked out of all tellings. */
export function historyOf(
  tellings: readonly Telling[],
  place: Pick<MembershipHistory, "lane" | "group" | "family" | "site" | "untilMs"> & {
    readonly sharesPort: (lane: string) => boolean;
    /** Whether the switch of this host acted on a query that these lanes heard. */
    readonly isHeeded: (heardBy: readonly string[]) => boolean;
  },
): MembershipHistory {
  const { lane, group, family, sharesPort, isHeeded } = place;
  const own: Said[] = [];
  const neighbours: Said[] = [];
  const queries: Said[] = [];
  const groupQueries: Said[] = [];
  const heeded: Said[] = [];
  for (const telling of tellings) {
    const { said } = telling;
    if (said.family !== family || said.vlan !== null) continue;
    if (said.kind === "query") queries.push(said);
    if (said.group !== group) continue;
    if (said.kind === "group-query") {
      groupQueries.push(said);
      // A query about sources is about those alone; one with the S flag changes no timer (RFC 3376, section 6.6.1).
      if (!said.isSuppressing && said.sources.length === 0 && isHeeded(telling.heardBy)) heeded.push(said);
    } else if (telling.lane === lane) own.push(said);
    else if (sharesPort(telling.lane) && said.kind !== "leave") neighbours.push(said);
  }
  return { ...place, own, neighbours, queries, groupQueries, heeded };
}
