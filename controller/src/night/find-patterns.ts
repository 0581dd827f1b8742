import { formatDurationNs, formatRatio, greatestOf, type NightPattern, type ReportIncident } from "@dyetrace/wire";
import { binomialTest } from "../compare/binomial-test.ts";
import type { Episode } from "../store/kept-report.ts";

/** Periods that networks have: timers of the standards, and what people schedule. */
const PERIODS_NS: readonly number[] = [60e9, 125e9, 250e9, 260e9, 300e9, 600e9, 900e9, 1800e9, 3600e9];
/** Fewer incidents make no pattern. */
const LEAST = 5;
const LEVEL = 0.001;
/** An incident is large that has at least a twentieth of the largest one's packets. */
const LARGE_SHARE = 20;
/** All incidents and the large ones are looked at. */
const LOOKS = 2;
/** An incident that begins this soon after something began with it, as far as intervals of a second can tell. */
const WITH_NS = 1.5e9;
const ON_THE_HOUR_MS = 2000;

/**
 * What repeats in a night's incidents: a period, and a coincidence with queries, with changes of the querier or with a
 * source that came and went. Pure.
 * @param episodes queries, querier changes and absences of the run
 * @param startedMs the run's start, ms since 1970
 */
export function findPatterns(
  incidents: readonly ReportIncident[],
  episodes: readonly Episode[],
  lengthNs: number,
  startedMs: number,
): readonly NightPattern[] {
  const trouble = incidents.filter(({ kind }) => kind === "loss" || kind === "source" || kind === "link");
  const startsNs = trouble.map(({ fromMs }) => fromMs * 1e6);
  if (startsNs.length < LEAST) return [];
  // Single packets that are lost at any time would drown what repeats, so the large ones are looked at by themselves.
  const largest = greatestOf(trouble.map(({ count }) => count));
  const large = trouble.filter(({ count }) => count * LARGE_SHARE >= largest).map(({ fromMs }) => fromMs * 1e6);
  const period = findPeriod(startsNs, lengthNs, startedMs, "Incidents");
  const isApart = period.length === 0 && large.length >= LEAST && large.length < startsNs.length;
  return [
    ...period,
    ...(isApart ? findPeriod(large, lengthNs, startedMs, `The ${large.length} largest incidents`) : []),
    ...coincidence(startsNs, timesOf(episodes, "query"), lengthNs, "a query"),
    ...coincidence(startsNs, timesOf(episodes, "querier-change"), lengthNs, "a change of the querier"),
    ...coincidence(startsNs, timesOf(episodes, "away"), lengthNs, "an agent that came or went"),
  ];
}

/**
 * Instants on a circle of the period's length point the same way if they repeat with it (Rayleigh's test). Whoever
 * repeats every hour also repeats every half; the longest period that stands is told.
 */
function findPeriod(startsNs: readonly number[], lengthNs: number, startedMs: number, who: string): NightPattern[] {
  const standing = PERIODS_NS.flatMap((periodNs) => {
    const turns = lengthNs / periodNs;
    if (turns < LEAST) return [];
    const angles = startsNs.map((atNs) => (2 * Math.PI * atNs) / periodNs);
    const [x, y] = [mean(angles.map(Math.cos)), mean(angles.map(Math.sin))];
    const p = rayleighP(startsNs.length, Math.hypot(x, y));
    return p < LEVEL / (LOOKS * PERIODS_NS.length) ? [{ periodNs, p, phaseNs: phase(x, y, periodNs) }] : [];
  });
  const longest = standing.at(-1);
  if (longest === undefined) return [];
  const { periodNs, p, phaseNs } = longest;
  const every = periodNs === 3600e9 ? "every full hour" : `every ${formatDurationNs(periodNs)}`;
  const at = new Date(startedMs + phaseNs / 1e6).toISOString().slice(14, 19);
  const pastMs = (startedMs + phaseNs / 1e6) % 3600e3;
  // A gap begins with the last packet before it, so what strikes with the hour begins a little earlier.
  const isOnTheHour = Math.min(pastMs, 3600e3 - pastMs) < ON_THE_HOUR_MS;
  const when = periodNs === 3600e9 && !isOnTheHour ? `, at ${at} past it` : "";
  return [{ sentence: `${who} repeat ${every}${when}.`, p }];
}

/** Good for few instants too (Zar, Biostatistical Analysis, section 27.1, from memory). @param length of the mean vector, 0 to 1 */
const rayleighP = (n: number, length: number): number =>
  Math.min(1, Math.exp(Math.sqrt(1 + 4 * n + 4 * n * n * (1 - length * length)) - (1 + 2 * n)));

function phase(x: number, y: number, periodNs: number): number {
  const turn = Math.atan2(y, x) / (2 * Math.PI);
  return (turn < 0 ? turn + 1 : turn) * periodNs;
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

const mean = (values: readonly number[]): number => values.reduce((sum, value) => sum + value, 0) / values.length;
