import { formatDurationNs, formatRatio, greatestOf, type NightPattern, type ReportIncident } from "@dyetrace/wire";
import { groupBy } from "@dyetrace/wire/group-by";
import { binomialTest } from "../../compare/binomial-test.ts";
import type { Episode } from "../../store/kept-report.ts";
import { findPeriod, LEAST, type Period } from "./find-period.ts";

/** Periods that networks have: timers of the standards, and what people schedule. */
const PERIODS_NS: readonly number[] = [60e9, 125e9, 250e9, 260e9, 300e9, 600e9, 900e9, 1800e9, 3600e9];
const HOUR_NS = 3600e9;
const LEVEL = 0.001;
/** An incident is large that has at least a twentieth of the largest one's packets. */
const LARGE_SHARE = 20;
/** More names than this are not looked at each by itself. */
const MOST_NAMES = 20;
/** An incident that begins this soon after something began with it, as far as intervals of a second can tell. */
const WITH_NS = 1.5e9;
const ON_THE_HOUR_MS = 2000;

interface Group {
  readonly who: string;
  readonly startsNs: readonly number[];
}

/**
 * What repeats in a night's incidents: a period, and a coincidence with queries, with changes of the querier or with a
 * source that came and went. Pure.
 * @param episodes queries and absences of the run
 * @param startedMs the run's start, ms since 1970
 */
export function findPatterns(
  incidents: readonly (ReportIncident & { readonly name?: string })[],
  episodes: readonly Episode[],
  lengthNs: number,
  startedMs: number,
): readonly NightPattern[] {
  const once = incidents.filter(({ isSteady }) => isSteady !== true);
  const trouble = once.filter(({ kind }) => kind === "loss" || kind === "source" || kind === "link");
  const queriesNs = timesOf(episodes, "query");
  const intervalNs = intervalOf(queriesNs);
  const changesNs = once.flatMap((one) => (one.kind === "querier-change" ? startsOf(one) : []));
  const groups = groupsOf(trouble);
  const found: NightPattern[] = [];
  for (const { who, startsNs } of groups) {
    // All of them first: what is found there is not told again of some of them.
    if (found.length > 0 && who !== groups[0]?.who && isTold(found)) break;
    const period = findPeriod(startsNs, lengthNs, [...intervalNs, ...PERIODS_NS], LEVEL / groups.length);
    if (period !== null) found.push({ sentence: sentenceOf(who, period, intervalNs, startedMs), p: period.p });
  }
  const startsNs = trouble.flatMap(startsOf);
  if (startsNs.length < LEAST) return found;
  return [
    ...found,
    ...coincidence(startsNs, queriesNs, lengthNs, "a query"),
    ...coincidence(startsNs, changesNs, lengthNs, "a change of the querier"),
    ...coincidence(startsNs, timesOf(episodes, "away"), lengthNs, "an agent that came or went"),
  ];
}

const isTold = (found: readonly NightPattern[]): boolean => found.some(({ sentence }) => sentence.startsWith(ALL));
const ALL = "Incidents repeat";

/** When it began, or those did that it stands for. */
const startsOf = ({ fromMs, startsMs }: ReportIncident): number[] => (startsMs ?? [fromMs]).map((atMs) => atMs * 1e6);

/**
 * All; the large ones, which single packets that are lost at any time would drown; and those of one name, which others would.
 */
function groupsOf(trouble: readonly (ReportIncident & { readonly name?: string })[]): Group[] {
  const all = trouble.flatMap(startsOf);
  const largest = greatestOf(trouble.map(({ count }) => count));
  const large = trouble.filter(({ count }) => count * LARGE_SHARE >= largest).flatMap(startsOf);
  const named = [...groupBy(trouble, ({ name }) => name)]
    .flatMap(([name, own]): Group[] =>
      name === undefined ? [] : [{ who: `Incidents "${name}"`, startsNs: own.flatMap(startsOf) }],
    )
    .filter(({ startsNs }) => startsNs.length >= LEAST && startsNs.length < all.length)
    .slice(0, MOST_NAMES);
  const isApart = large.length >= LEAST && large.length < all.length;
  return [
    { who: "Incidents", startsNs: all },
    ...(isApart ? [{ who: `The ${large.length} largest incidents`, startsNs: large }] : []),
    ...named,
  ].filter(({ startsNs }) => startsNs.length >= LEAST);
}

/** The median pause between two queries, as one or no candidate. */
function intervalOf(timesNs: readonly number[]): number[] {
  const pauses = timesNs.slice(1).map((atNs, i) => atNs - (timesNs[i] ?? atNs));
  const median = pauses.toSorted((a, b) => a - b)[Math.floor(pauses.length / 2)];
  return median === undefined || pauses.length < LEAST ? [] : [Math.round(median / 1e9) * 1e9];
}

function sentenceOf(
  who: string,
  { periodNs, phaseNs }: Period,
  intervalNs: readonly number[],
  startedMs: number,
): string {
  if (periodNs !== HOUR_NS) {
    const isQueries = intervalNs.includes(periodNs);
    return `${who} repeat every ${formatDurationNs(periodNs)}${isQueries ? ", which is the interval of queries" : ""}.`;
  }
  const at = new Date(startedMs + phaseNs / 1e6).toISOString().slice(14, 19);
  const pastMs = (startedMs + phaseNs / 1e6) % 3600e3;
  // A gap begins with the last packet before it, so what strikes with the hour begins a little earlier.
  const isOnTheHour = Math.min(pastMs, 3600e3 - pastMs) < ON_THE_HOUR_MS;
  return `${who} repeat every full hour${isOnTheHour ? "" : `, at ${at} past it`}.`;
}

function coincidence(
  startsNs: readonly number[],
  timesNs: readonly number[],
  lengthNs: number,
  what: string,
): NightPattern[] {
  if (timesNs.length === 0) return [];
  const hits = startsNs.filter((startNs) =>
    timesNs.some((atNs) => startNs >= atNs - WITH_NS && startNs <= atNs + WITH_NS),
  );
  const covered = Math.min(1, (timesNs.length * 2 * WITH_NS) / lengthNs);
  const share = hits.length / startsNs.length;
  const p = binomialTest(hits.length, startsNs.length, covered);
  if (share <= covered || p >= LEVEL) return [];
  return [
    {
      sentence: `${hits.length} of ${startsNs.length} incidents begin together with ${what} (${formatRatio(covered)} would by chance).`,
      p,
    },
  ];
}

/** Every host hears the same query: one instant, not one for each. */
function timesOf(episodes: readonly Episode[], kind: Episode["kind"]): readonly number[] {
  const times = episodes
    .filter((one) => one.kind === kind)
    .flatMap(({ fromNs, toNs }) => (kind === "away" ? [fromNs, toNs] : [fromNs]));
  const distinct: number[] = [];
  for (const atNs of times.toSorted((a, b) => a - b)) {
    if (atNs - (distinct.at(-1) ?? Number.NEGATIVE_INFINITY) > WITH_NS) distinct.push(atNs);
  }
  return distinct;
}
