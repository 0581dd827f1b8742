import type { SiteGraph } from "@dyetrace/site";
import { formatDurationNs, type ReportIncident } from "@dyetrace/wire";
import type { CompiledRun } from "../plan/compiled-run.ts";
import type { Episode } from "../store/pack/kept-report.ts";
import type { Stint } from "../store/report-records.ts";
import type { Store } from "../store/store.ts";
import { LossesBeside } from "./beside.ts";
import { clusterParted } from "./cluster-episodes.ts";
import type { FollowedLosses } from "./followed-losses.ts";
import { type ReadSilences, readSilences } from "./open-silences.ts";
import { QuerierChanges } from "./querier-changes.ts";
import { SteadyLosses } from "./steady-loss.ts";
import { Witnesses } from "./witnesses.ts";

/** Episodes that are read at once. */
const PAGE = 20_000;
/** Beside steady losses, of which only sums are kept: so many episodes are looked at, and it is said where that ends. */
const MOST_EPISODES = 200_000;
/** A shorter time without reports is a restart: the second in which an agent ends is never reported. Our choice, no source. */
const AWAY_NS = 3e9;

/** What is known of a run beside what the store has of it. */
export interface KnownOfRun {
  /** How far it is; its end unless said otherwise. */
  readonly untilNs?: number;
  /** What was read of it already. */
  readonly read?: ReadSilences;
  /** Of streams of others, once it is concluded. */
  readonly followed?: FollowedLosses;
}

/** What went wrong in a run, so far or in all, with who was hit and where. */
export async function findIncidents(
  store: Store,
  run: CompiledRun,
  graph: SiteGraph,
  { untilNs = run.endNs, read, followed = NOTHING_FOLLOWED }: KnownOfRun = {},
): Promise<readonly ReportIncident[]> {
  const away = absences(run, await store.reports.stints(run.runId), untilNs);
  const parted = new SteadyLosses(run, away);
  const queriers = new QuerierChanges();
  // Companions are no streams of the run's own.
  const streamIds = new Set(run.streams.map(({ streamId }) => streamId));
  const isOwn = ({ streamId }: Episode): boolean => streamId === null || streamIds.has(streamId);
  const told = followed.episodes.slice(0, MOST_EPISODES);
  for (const episode of told) parted.take(episode);
  let cutNs = followed.episodes[MOST_EPISODES]?.fromNs ?? null;
  for await (const page of store.reports.episodePages(run.runId, untilNs, PAGE)) {
    for (const episode of page) {
      if (episode.kind === "query") queriers.take(episode);
      else if (isOwn(episode) && !isToldByAbsence(episode, away)) parted.take(episode);
    }
    if (parted.others.length < MOST_EPISODES) continue;
    cutNs = Math.min(cutNs ?? Number.POSITIVE_INFINITY, page.at(-1)?.fromNs ?? untilNs);
    break;
  }
  parted.end();
  const { minutes, silent } = read ?? (await readSilences(store, run, untilNs));
  const others = [...parted.others, ...silent, ...away, ...queriers.episodes()];
  const beside = new LossesBeside(parted.steady, others);
  if (beside.isNeeded) {
    for (const episode of told) beside.take(episode);
    for await (const page of store.reports.episodePages(run.runId, cutNs ?? untilNs, PAGE, ["loss"])) {
      for (const episode of page) beside.take(episode);
    }
  }
  const witnesses = new Witnesses(run, [...minutes, ...followed.minutes], others, untilNs);
  const incidents = clusterParted({ steady: parted.steady, others }, run, graph, witnesses, beside);
  return cutNs === null ? incidents : [...incidents, notLookedAt(cutNs, untilNs)];
}

const NOTHING_FOLLOWED: FollowedLosses = { episodes: [], minutes: [] };

/** An agent that did not work had no connection either: that is one thing, told once. */
const isToldByAbsence = ({ kind, agent, fromNs, toNs }: Episode, away: readonly Episode[]): boolean =>
  kind === "no-control" &&
  away.some((one) => one.agent === agent && one.fromNs <= toNs && one.toNs >= fromNs && one.toNs > fromNs);

/** So much happened that not all of it was looked at. */
const notLookedAt = (fromNs: number, toNs: number): ReportIncident => ({
  ...{ kind: "not-looked-at", fromMs: fromNs / 1e6, toMs: toNs / 1e6, streams: [], agents: [], suspects: [], count: 0 },
  title: `From ${formatDurationNs(fromNs)} on only what went on all the time was looked at: before that more than ${MOST_EPISODES} things had happened`,
});

/** Times in which an agent of the run measured nothing at all, and its restarts. Pure. */
export function absences(run: CompiledRun, stints: readonly Stint[], untilNs: number): readonly Episode[] {
  return [...run.tasks.keys()].flatMap((agent) => {
    const own = stints.filter((stint) => stint.agent === agent).toSorted((a, b) => a.fromNs - b.fromNs);
    if (own.length === 0) return []; // never took part; the report says so
    const gaps: Episode[] = [];
    let knownNs = 0;
    for (const [index, { fromNs, toNs }] of [...own, { fromNs: untilNs, toNs: untilNs }].entries()) {
      const isBetween = index > 0 && index < own.length;
      const isAway = fromNs - knownNs > AWAY_NS;
      if (isAway || isBetween) {
        const kind = isAway ? "away" : "restart";
        const span = { fromNs: Math.min(knownNs, fromNs), toNs: fromNs };
        gaps.push({ kind, agent, streamId: null, ...span, count: 0, detail: "" });
      }
      knownNs = Math.max(knownNs, toNs);
    }
    return gaps;
  });
}
