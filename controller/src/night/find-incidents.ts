import type { SiteGraph } from "@dyetrace/site";
import type { ReportIncident } from "@dyetrace/wire";
import type { CompiledRun } from "../plan/compiled-run.ts";
import type { Episode } from "../store/kept-report.ts";
import type { Stint } from "../store/report-records.ts";
import type { Store } from "../store/store.ts";
import { clusterEpisodes } from "./cluster-episodes.ts";
import { Witnesses } from "./witnesses.ts";

/** Episodes that are looked at; a night with more has told enough. */
const MOST_EPISODES = 100_000;
/** Shorter pauses between two stints are none: a report is due every second. */
const AWAY_NS = 1.5e9;

/** What went wrong in a run, so far or in all, with who was hit and where. @param untilNs how far the run is */
export async function findIncidents(
  store: Store,
  run: CompiledRun,
  graph: SiteGraph,
  untilNs: number = run.endNs,
): Promise<readonly ReportIncident[]> {
  const episodes = await store.reports.episodes(run.runId, 0, untilNs, MOST_EPISODES, ["query"]);
  const stints = await store.reports.stints(run.runId);
  // Companions are no streams of the run's own.
  const streamIds = new Set(run.streams.map(({ streamId }) => streamId));
  const own = episodes.filter(({ streamId }) => streamId === null || streamIds.has(streamId));
  const all = [...own, ...absences(run, stints, untilNs)];
  const witnesses = new Witnesses(run, await store.reports.minutes(run.runId), all, untilNs);
  return clusterEpisodes(all, run, graph, witnesses);
}

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
