import { loadSitePlan } from "@dyetrace/site";
import { Fault, followsOthers, greatestOf, leastOf, type Night } from "@dyetrace/wire";
import { groupBy } from "@dyetrace/wire/group-by";
import { type PackedRun, unpackCompiledRun } from "../../plan/compiled-run-json.ts";
import { cellNsOf, minutesPerCell } from "../../plan/night-cells.ts";
import type { Episode, EpisodeKind } from "../../store/pack/kept-report.ts";
import type { RunRecord } from "../../store/run-record.ts";
import type { Store } from "../../store/store.ts";
import { absences, findIncidents } from "../find-incidents.ts";
import { readSilences } from "../open-silences.ts";
import { findPatterns } from "./find-patterns.ts";
import { followedCounts, followedSentences, lossIncidents } from "./followed-night.ts";
import { followedStrips } from "./followed-strips.ts";
import { headlineOf } from "./headline.ts";
import { nightIncident } from "./night-incident.ts";
import { addKnown, listenersOf, stripsOf, withSilent } from "./night-strips.ts";
import { unwatchedOf } from "./unwatched.ts";

const MOST_WORST = 8;
/** Queries and such, that patterns are held against. */
const MOST_MARKS = 50_000;
const PAGE = 10_000;

/**
 * A run in a form that is read in a minute: what happened in one sentence, the worst first, the night as strips, what repeats,
 * and what was not watched.
 * @throws {Fault} RUN_UNFINISHED before it has begun
 */
export async function summariseNight(store: Store, record: RunRecord, nowMs: number): Promise<Night> {
  if (record.start === null || record.compiled === null) {
    throw new Fault("RUN_UNFINISHED", `Run ${record.runId} has not begun`, "Wait for its start");
  }
  const { wallMs } = record.start;
  const run = unpackCompiledRun(record.compiled as PackedRun);
  const graph = loadSitePlan(record.request.site.text, record.request.site.file);
  const isOver = record.endedAt !== null;
  const untilNs = isOver ? run.endNs : Math.min(run.endNs, Math.max(0, (nowMs - wallMs) * 1e6));
  const stints = await store.reports.stints(run.runId);
  // While it goes on, what is not there yet is on its way, and no absence.
  const latest = [...groupBy(stints, ({ agent }) => agent).values()].map((own) =>
    greatestOf(own.map(({ toNs }) => toNs)),
  );
  const knownNs = isOver ? untilNs : leastOf(latest, untilNs);
  const read = await readSilences(store, run, knownNs);
  const found = record.report?.incidents ?? (await findIncidents(store, run, graph, { untilNs: knownNs, read }));
  const incidents = found.map((one) => nightIncident(one, record.site, wallMs));
  const away = absences(run, stints, knownNs);
  const blind = [...away, ...(await episodesOf(store, run.runId, untilNs, ["dropped"]))];
  const cellNs = cellNsOf(untilNs);
  const cells = await store.reports.cells(run.runId, minutesPerCell(untilNs));
  const strips = [
    ...stripsOf(withSilent(cells, read.silent, cellNs), run, Math.ceil(untilNs / cellNs), cellNs, blind),
    ...followedStrips(record.report, Math.ceil(untilNs / cellNs), cellNs, blind),
  ];
  const marks = [...(await episodesOf(store, run.runId, untilNs, ["query"])), ...away];
  const follows = followsOthers(run);
  const night: Omit<Night, "headline"> = {
    formatVersion: 1,
    runId: record.runId,
    site: record.site,
    scenario: record.scenario,
    startedAt: new Date(wallMs).toISOString(),
    untilMs: untilNs / 1e6,
    isOver,
    ...(follows
      ? { followsOthers: true, ...lossIncidents(record.report), ...followedCounts(record.report) }
      : {
          received: strips.reduce((sum, one) => sum + one.received, 0),
          lost: strips.reduce((sum, one) => sum + one.lost, 0),
          hostLost: addKnown(strips.map(({ hostLost }) => hostLost)),
        }),
    cellMs: cellNs / 1e6,
    listeners: listenersOf(strips),
    strips,
    worst: incidents
      .filter((one) => one.harmMs > 0)
      .toSorted((a, b) => b.harmMs - a.harmMs)
      .slice(0, MOST_WORST),
    incidents,
    patterns: [...findPatterns(incidents, marks, untilNs, wallMs)],
    unwatched: unwatchedOf(run, stints, blind, strips, untilNs),
    summarised: [...(follows ? followedSentences(record.report, wallMs) : []), ...summarisedOf(incidents)],
  };
  return { ...night, headline: headlineOf(night) };
}

/** What was summed up, or not looked at. */
const summarisedOf = (incidents: Night["incidents"]): string[] =>
  incidents.flatMap(({ kind, name, times, title }) => {
    if (kind === "not-looked-at") return [`${title}.`];
    return times === undefined
      ? []
      : [`There were too many incidents to keep each: of ${times} with the name "${name}" only the sum is kept.`];
  });

/** In order of time, so many at most. */
async function episodesOf(store: Store, runId: string, toNs: number, kinds: readonly EpisodeKind[]) {
  const found: Episode[] = [];
  for await (const page of store.reports.episodePages(runId, toNs, PAGE, kinds)) {
    found.push(...page);
    if (found.length >= MOST_MARKS) break;
  }
  return found;
}
