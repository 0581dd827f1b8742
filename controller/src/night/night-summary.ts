import { loadSitePlan } from "@dyetrace/site";
import { Fault, leastOf, type ReportIncident } from "@dyetrace/wire";
import { MINUTE_NS } from "../intake/count-minutes.ts";
import type { CompiledRun } from "../plan/compiled-run.ts";
import { type PackedRun, unpackCompiledRun } from "../plan/compiled-run-json.ts";
import type { StripCell } from "../store/report-records.ts";
import type { RunRecord } from "../store/run-record.ts";
import type { Store } from "../store/store.ts";
import { absences, findIncidents } from "./find-incidents.ts";
import { findPatterns, type Pattern } from "./find-patterns.ts";
import { packetNs } from "./silences.ts";

/** A run in a form that is read in a minute: the night as a strip, the worst incidents, and what they have in common. */
export interface NightSummary {
  readonly runId: string;
  readonly site: string;
  readonly scenario: string;
  readonly startedAt: string;
  /** How far it is; null once it is over. */
  readonly untilMs: number;
  readonly isOver: boolean;
  /** One letter a cell, the whole night: `.` nothing measured, `-` whole, `1` to `4` lost under 0.01 %, 0.1 %, 1 % or more. */
  readonly strips: readonly { readonly stream: string; readonly listener: string; readonly cells: string }[];
  /** How long a cell lasts. */
  readonly cellMs: number;
  readonly received: number;
  readonly lost: number;
  /** Who did the most harm comes first: seconds without the stream, times listeners. */
  readonly worst: readonly ReportIncident[];
  readonly incidents: number;
  readonly patterns: readonly Pattern[];
}

const MOST_CELLS = 96;
const MOST_WORST = 8;
const MOST_EPISODES = 50_000;

/** @throws {Fault} RUN_UNFINISHED before it has begun */
export async function summariseNight(store: Store, record: RunRecord, nowMs: number): Promise<NightSummary> {
  if (record.start === null || record.compiled === null) {
    throw new Fault("RUN_UNFINISHED", `Run ${record.runId} has not begun`, "Wait for its start");
  }
  const run = unpackCompiledRun(record.compiled as PackedRun);
  const graph = loadSitePlan(record.request.site.text, record.request.site.file);
  const isOver = record.endedAt !== null;
  const untilNs = isOver ? run.endNs : Math.min(run.endNs, Math.max(0, (nowMs - record.start.wallMs) * 1e6));
  // While it goes on, what is not there yet is on its way, and no absence.
  const knownNs = isOver
    ? untilNs
    : leastOf(
        (await store.reports.stints(run.runId)).map(({ toNs }) => toNs),
        untilNs,
      );
  const incidents = record.report?.incidents ?? (await findIncidents(store, run, graph, knownNs));
  const marks = await store.reports.episodes(run.runId, 0, untilNs, MOST_EPISODES, ["loss", "silence", "host-loss"]);
  const stints = await store.reports.stints(run.runId);
  const minutesPerCell = Math.max(1, Math.ceil(untilNs / MINUTE_NS / MOST_CELLS));
  const names = new Map(run.streams.map(({ streamId, name }) => [streamId, name]));
  const cells = (await store.reports.cells(run.runId, minutesPerCell)).filter(({ streamId }) => names.has(streamId));
  return {
    runId: record.runId,
    site: record.site,
    scenario: record.scenario,
    startedAt: new Date(record.start.wallMs).toISOString(),
    untilMs: untilNs / 1e6,
    isOver,
    strips: stripsOf(cells, names, Math.ceil(untilNs / MINUTE_NS / minutesPerCell)),
    cellMs: (minutesPerCell * MINUTE_NS) / 1e6,
    received: cells.reduce((sum, one) => sum + one.received, 0),
    lost: cells.reduce((sum, one) => sum + one.lost, 0),
    worst: incidents
      .filter(({ kind }) => kind !== "no-control")
      .toSorted((a, b) => harmMs(b, run) - harmMs(a, run))
      .slice(0, MOST_WORST),
    incidents: incidents.length,
    patterns: findPatterns(incidents, [...marks, ...absences(run, stints, knownNs)], untilNs, record.start.wallMs),
  };
}

/**
 * How long somebody was without what he should have had, times how many: packets by the time that they are worth, absences by
 * their length. What harms nobody's picture, such as a clock that was set, weighs nothing.
 */
function harmMs({ kind, streams, agents, count, fromMs, toMs }: ReportIncident, run: CompiledRun): number {
  const lastsMs = (toMs - fromMs) * Math.max(1, agents.length);
  if (kind === "away" || kind === "source") return lastsMs;
  if (kind !== "loss" && kind !== "host-loss") return 0;
  const intervals = run.streams.filter(({ name }) => streams.includes(name)).map(packetNs);
  const meanMs = intervals.reduce((sum, one) => sum + one, 0) / 1e6 / Math.max(1, intervals.length);
  return count > 0 ? count * meanMs : lastsMs;
}

function stripsOf(
  sums: readonly StripCell[],
  names: ReadonlyMap<number, string>,
  cells: number,
): NightSummary["strips"] {
  const rows = new Map<string, { stream: string; listener: string; received: number[]; lost: number[] }>();
  for (const { streamId, agent, cell, received, lost } of sums) {
    const key = `${streamId} ${agent}`;
    const row = rows.get(key) ?? {
      stream: names.get(streamId) ?? String(streamId),
      listener: agent,
      received: [],
      lost: [],
    };
    rows.set(key, row);
    row.received[cell] = received;
    row.lost[cell] = lost;
  }
  return [...rows.values()].map(({ stream, listener, received, lost }) => ({
    stream,
    listener,
    cells: Array.from({ length: cells }, (_, cell) => letter(received[cell], lost[cell])).join(""),
  }));
}

function letter(received: number | undefined, lost: number | undefined): string {
  if (received === undefined || lost === undefined || received + lost === 0) return ".";
  const ratio = lost / (received + lost);
  return ratio === 0 ? "-" : ratio < 1e-4 ? "1" : ratio < 1e-3 ? "2" : ratio < 1e-2 ? "3" : "4";
}
