import type { SiteGraph } from "@dyetrace/site";
import { formatDurationNs, type ReportIncident } from "@dyetrace/wire";
import type { CompiledRun } from "../plan/compiled-run.ts";
import type { Episode } from "../store/kept-report.ts";
import type { Stint } from "../store/report-records.ts";
import type { Store } from "../store/store.ts";
import { clusterParted } from "./cluster-episodes.ts";
import { INCIDENT_EPISODES } from "./incident-kinds.ts";
import { SteadyLosses } from "./steady-loss.ts";
import { Witnesses } from "./witnesses.ts";

/** Episodes that are read at once. */
const PAGE = 20_000;
/** Beside steady losses, of which only sums are kept: so many episodes are looked at, and it is said where that ends. */
const MOST_EPISODES = 200_000;
/** Shorter pauses between two stints are none: a report is due every second. */
const AWAY_NS = 1.5e9;

/** What went wrong in a run, so far or in all, with who was hit and where. @param untilNs how far the run is */
export async function findIncidents(
  store: Store,
  run: CompiledRun,
  graph: SiteGraph,
  untilNs: number = run.endNs,
): Promise<readonly ReportIncident[]> {
  const away = absences(run, await store.reports.stints(run.runId), untilNs);
  const parted = new SteadyLosses(run);
  // Companions are no streams of the run's own.
  const streamIds = new Set(run.streams.map(({ streamId }) => streamId));
  let cutNs: number | null = null;
  for await (const page of store.reports.episodePages(run.runId, untilNs, PAGE, INCIDENT_EPISODES)) {
    for (const episode of page) {
      const isOwn = episode.streamId === null || streamIds.has(episode.streamId);
      if (isOwn && !isToldByAbsence(episode, away)) parted.take(episode);
    }
    if (parted.others.length < MOST_EPISODES) continue;
    cutNs = page.at(-1)?.fromNs ?? null;
    break;
  }
  parted.end();
  const others = [...parted.others, ...away];
  const witnesses = new Witnesses(run, await store.reports.minutes(run.runId), others, untilNs);
  const incidents = clusterParted({ steady: parted.steady, others }, run, graph, witnesses);
  return cutNs === null ? incidents : [...incidents, notLookedAt(cutNs, untilNs)];
}

/** An agent that did not work had no connection either: that is one thing, told once. */
const isToldByAbsence = ({ kind, agent, fromNs, toNs }: Episode, away: readonly Episode[]): boolean =>
  kind === "no-control" &&
  away.some((one) => one.agent === agent && one.fromNs <= toNs && one.toNs >= fromNs && one.toNs > fromNs);

/** So much happened that not all of it was looked at. */
const notLookedAt = (fromNs: number, toNs: number): ReportIncident => ({
  ...{ kind: "dropped", fromMs: fromNs / 1e6, toMs: toNs / 1e6, streams: [], agents: [], suspects: [], count: 0 },
  title: `From ${formatDurationNs(fromNs)} on only what went on all the time was looked at: before that more than ${MOST_EPISODES} things had happened`,
});

/** Times in which an agent of the run measured nothing at all. Pure. */
export function absences(run: CompiledRun, stints: readonly Stint[], untilNs: number): readonly Episode[] {
  return [...run.tasks.keys()].flatMap((agent) => {
    const own = stints.filter((stint) => stint.agent === agent).toSorted((a, b) => a.fromNs - b.fromNs);
    if (own.length === 0) return []; // never took part; the report says so
    const gaps: Episode[] = [];
    let knownNs = 0;
    for (const { fromNs, toNs } of [...own, { fromNs: untilNs, toNs: untilNs }]) {
      if (fromNs - knownNs > AWAY_NS) {
        gaps.push({ kind: "away", agent, streamId: null, fromNs: knownNs, toNs: fromNs, count: 0, detail: "" });
      }
      knownNs = Math.max(knownNs, toNs);
    }
    return gaps;
  });
}
