import { formatDurationNs, formatRatio, greatestOf, type NightPattern, type ReportIncident } from "@dyetrace/wire";
import { groupBy } from "@dyetrace/wire/group-by";
import { binomialTest } from "../../compare/binomial-test.ts";
import type { Episode } from "../../store/pack/kept-report.ts";
import { findPeriod, LEAST, type Period } from "./find-period.ts";

/** Periods that networks have: timers of the standards, and what people schedule. */
const PERIODS_NS: readonly number[] = [60e9, 125e9, 250e9, 260e9, 300e9, 600e9, 900e9, 1800e9, 3600e9];
const HOUR_NS = 3600e9;
/** A night without a pattern is given one with this chance at most, by all looks together. */
const LEVEL = 0.001;
/** Fewer incidents that begin with something make no pattern, however rare that something is. */
const LEAST_HITS = 3;
/** An incident is large that has at least a twentieth of the largest one's packets. */
const LARGE_SHARE = 20;
/** More names than this are not looked at each by itself. */
const MOST_NAMES = 20;
/** An incident that begins this soon after something began with it, as far as intervals of a second can tell. */
const WITH_NS = 1.5e9;
const ON_THE_HOUR_MS = 2000;
/** What begins while another goes on, and this soon after it began, may come of it. */
const ONE_OCCASION_NS = 60e9;

interface Span {
  readonly startNs: number;
  readonly endNs: number;
}

interface Group {
  readonly who: string;
  /** Of each occasion. */
  readonly startsNs: readonly number[];
}

/**
 * What repeats in a night's incidents: a period, and a coincidence with queries, with changes of the querier or with a
 * source that came and went. Pure.
 * @param episodes queries and absences of the run
 * @param startedMs the run's start, ms since 1970
 * @param level a pattern with a larger chance, by all looks that were made, is none
 */
export function findPatterns(
  incidents: readonly (ReportIncident & { readonly name?: string })[],
  episodes: readonly Episode[],
  lengthNs: number,
  startedMs: number,
  level: number = LEVEL,
): readonly NightPattern[] {
  const once = incidents.filter(({ isSteady }) => isSteady !== true);
  const trouble = once.filter(({ kind }) => kind === "loss" || kind === "source" || kind === "link");
  const queriesNs = timesOf(episodes, "query");
  const intervalNs = intervalOf(queriesNs);
  const groups = groupsOf(trouble);
  const [all] = groups;
  if (all === undefined) return [];
  const beside = [
    { what: "a query", timesNs: queriesNs },
    {
      what: "a change of the querier",
      timesNs: once.flatMap((one) => (one.kind === "querier-change" ? startsOf(one) : [])),
    },
    { what: "an agent that came or went", timesNs: timesOf(episodes, "away") },
  ].filter(({ timesNs }) => timesNs.length > 0);
  // Bonferroni's bound: whatever the looks have to do with each other, together they are wrong no more often than this.
  const looks = groups.length + beside.length;
  const found: NightPattern[] = [];
  for (const { who, startsNs } of groups) {
    // All of them first: what is found there is not told again of some of them.
    if (found.length > 0 && who !== all.who && isTold(found)) break;
    const period = findPeriod(startsNs, lengthNs, [...intervalNs, ...PERIODS_NS], level / looks);
    if (period === null) continue;
    found.push({ sentence: sentenceOf(who, period, intervalNs, startedMs), p: Math.min(1, period.p * looks) });
  }
  const together = beside.flatMap(({ what, timesNs }): NightPattern[] => {
    const p = looks * coincidenceP(all.startsNs, timesNs, lengthNs);
    return p < level ? [{ sentence: togetherWords(trouble.flatMap(startsOf), timesNs, lengthNs, what), p }] : [];
  });
  return [...found, ...together];
}

const isTold = (found: readonly NightPattern[]): boolean => found.some(({ sentence }) => sentence.startsWith(ALL));
const ALL = "Incidents repeat";

/** When it began, or those did that it stands for. */
const startsOf = ({ fromMs, startsMs }: ReportIncident): number[] => (startsMs ?? [fromMs]).map((atMs) => atMs * 1e6);

/**
 * Beginnings that know nothing of each other: of incidents that overlap, as one fault shows at several places, only the first one's.
 */
function occasionsOf(incidents: readonly ReportIncident[]): readonly number[] {
  const spans = incidents
    .flatMap((one): Span[] =>
      one.startsMs === undefined
        ? [{ startNs: one.fromMs * 1e6, endNs: one.toMs * 1e6 }]
        : startsOf(one).map((startNs) => ({ startNs, endNs: startNs })),
    )
    .toSorted((a, b) => a.startNs - b.startNs);
  const startsNs: number[] = [];
  let endNs = Number.NEGATIVE_INFINITY;
  for (const span of spans) {
    if (span.startNs > endNs) {
      startsNs.push(span.startNs);
      endNs = span.startNs;
    }
    const lastNs = (startsNs.at(-1) ?? span.startNs) + ONE_OCCASION_NS;
    endNs = Math.max(endNs, Math.min(lastNs, Math.max(span.startNs + WITH_NS, span.endNs)));
  }
  return startsNs;
}

/**
 * All; the large ones, which single packets that are lost at any time would drown; and those of one name, which others would.
 */
function groupsOf(trouble: readonly (ReportIncident & { readonly name?: string })[]): Group[] {
  const all = occasionsOf(trouble);
  const largest = greatestOf(trouble.map(({ count }) => count));
  const largeOnes = trouble.filter(({ count }) => count * LARGE_SHARE >= largest);
  const large = occasionsOf(largeOnes);
  const named = [...groupBy(trouble, ({ name }) => name)]
    .flatMap(([name, own]): Group[] =>
      name === undefined ? [] : [{ who: `Incidents "${name}"`, startsNs: occasionsOf(own) }],
    )
    .filter(({ startsNs }) => startsNs.length >= LEAST && startsNs.length < all.length)
    .slice(0, MOST_NAMES);
  const isApart = large.length >= LEAST && large.length < all.length;
  return [
    { who: "Incidents", startsNs: all },
    ...(isApart ? [{ who: `The ${largeOnes.flatMap(startsOf).length} largest incidents`, startsNs: large }] : []),
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

const isWith = (startNs: number, timesNs: readonly number[]): boolean =>
  timesNs.some((atNs) => Math.abs(startNs - atNs) <= WITH_NS);

const coveredBy = (timesNs: readonly number[], lengthNs: number): number =>
  Math.min(1, (timesNs.length * 2 * WITH_NS) / lengthNs);

/** Chance that as many occasions, or more, fall together with these times. */
function coincidenceP(startsNs: readonly number[], timesNs: readonly number[], lengthNs: number): number {
  const hits = startsNs.filter((startNs) => isWith(startNs, timesNs)).length;
  const covered = coveredBy(timesNs, lengthNs);
  if (hits < LEAST_HITS || hits / startsNs.length <= covered) return 1;
  return binomialTest(hits, startsNs.length, covered);
}

function togetherWords(
  startsNs: readonly number[],
  timesNs: readonly number[],
  lengthNs: number,
  what: string,
): string {
  const hits = startsNs.filter((startNs) => isWith(startNs, timesNs)).length;
  const chance = formatRatio(coveredBy(timesNs, lengthNs));
  return `${hits} of ${startsNs.length} incidents begin together with ${what} (${chance} would by chance).`;
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
