import { loadSitePlan } from "@dyetrace/site";
import { Fault } from "@dyetrace/wire";
import type { RunReplay } from "@dyetrace/wire/console/run-replay";
import { groupBy } from "@dyetrace/wire/group-by";
import type { CompiledRun } from "../plan/compiled-run.ts";
import { type PackedRun, unpackCompiledRun } from "../plan/compiled-run-json.ts";
import { outlineRun } from "../plan/outline-run.ts";
import type { RunRecord } from "../store/run-record.ts";
import type { Store } from "../store/store.ts";
import { LiveBoard } from "./live-board.ts";

/** As many as a board keeps. */
const MOST_SECONDS = 180;
/** Reports that are read for one answer: of more the minutes' sums are told. */
const MOST_REPORTS = 20_000;
const MOST_CELLS = 240;
const SECOND_NS = 1e9;
const MINUTE_NS = 60e9;

/** A stored run in pieces of its time, second by second where it was short, else from the sums of its minutes. @throws {Fault} RUN_UNFINISHED */
export async function replayRun(store: Store, record: RunRecord): Promise<RunReplay> {
  if (record.start === null || record.compiled === null || record.endedAt === null) {
    throw new Fault("RUN_UNFINISHED", `Run ${record.runId} is not over`, "Wait for its end");
  }
  const run = unpackCompiledRun(record.compiled as PackedRun);
  const agents = new Set((await store.reports.stints(run.runId)).map(({ agent }) => agent));
  const seconds = Math.ceil(run.endNs / SECOND_NS);
  const isShort = seconds <= MOST_SECONDS && seconds * agents.size <= MOST_REPORTS;
  const told = isShort
    ? await bySecond(store, record, run, agents, seconds)
    : await byMinutes(store, run, agents, Math.ceil(run.endNs / MINUTE_NS));
  return { startedAt: new Date(record.start.wallMs).toISOString(), ...told };
}

type Told = Omit<RunReplay, "startedAt">;

async function bySecond(
  store: Store,
  { request }: RunRecord,
  run: CompiledRun,
  agents: ReadonlySet<string>,
  seconds: number,
): Promise<Told> {
  const graph = loadSitePlan(request.site.text, request.site.file);
  const board = new LiveBoard(outlineRun(run, request.site), graph, new Set());
  for (const agent of agents) {
    for await (const { report, watch } of store.reports.ofAgent(run.runId, agent)) board.take(agent, report, watch);
    board.drain();
  }
  const nameOf = new Map(run.streams.map(({ streamId, name }) => [streamId, name]));
  const strips = board.strips().map(({ agent, streamId, from, marks }) => ({
    agent,
    stream: nameOf.get(streamId) ?? "",
    marks: `${" ".repeat(Math.max(0, from))}${marks}`.slice(0, seconds),
  }));
  return { cellMs: 1000, cells: seconds, strips };
}

/** Who was joined when is not in the sums: what nobody counted stays blank. */
async function byMinutes(store: Store, run: CompiledRun, agents: ReadonlySet<string>, minutes: number): Promise<Told> {
  const perCell = Math.max(1, Math.ceil(minutes / MOST_CELLS));
  const cells = Math.ceil(minutes / perCell);
  const nameOf = new Map(run.streams.map(({ streamId, name }) => [streamId, name]));
  const strips = new Map<string, { agent: string; stream: string; marks: string[] }>();
  for (const { streamId, agent, cell, received, lost } of await store.reports.cells(run.runId, perCell)) {
    if (cell < 0 || cell >= cells) continue;
    const key = `${streamId} ${agent}`;
    const strip = strips.get(key) ?? {
      agent,
      stream: nameOf.get(streamId) ?? "",
      marks: new Array<string>(cells).fill(" "),
    };
    strips.set(key, strip);
    strip.marks[cell] = markOf(Number(received), Number(lost));
  }
  const told = [...strips.values()].map(({ agent, stream, marks }) => ({ agent, stream, marks: marks.join("") }));
  return {
    cellMs: (perCell * MINUTE_NS) / 1e6,
    cells,
    strips: [...told, ...followedStrips(run, agents, cells, perCell * MINUTE_NS)],
  };
}

/** Of streams of others no sums are kept: who was to get them is known, and what came of them is not. */
function followedStrips(
  { streams, joins, endNs }: CompiledRun,
  agents: ReadonlySet<string>,
  cells: number,
  cellNs: number,
): Told["strips"] {
  return streams.flatMap(({ name, production }) => {
    if (production === undefined) return [];
    const own = groupBy(
      joins.filter((join) => join.stream === name && agents.has(join.agent)),
      ({ agent }) => agent,
    );
    return [...own].map(([agent, stays]) => {
      const isIn = (cell: number): boolean =>
        stays.some(({ fromNs, toNs }) => fromNs < (cell + 1) * cellNs && (toNs ?? endNs) > cell * cellNs);
      return { agent, stream: name, marks: Array.from({ length: cells }, (_, i) => (isIn(i) ? "n" : " ")).join("") };
    });
  });
}

/** As a `LiveMark`, with the classes of `liveMark`. */
function markOf(received: number, lost: number): string {
  if (received === 0) return lost > 0 ? "-" : " ";
  if (lost === 0) return "f";
  const ratio = lost / (received + lost);
  return ratio < 0.001 ? "1" : ratio < 0.01 ? "2" : ratio < 0.1 ? "3" : "4";
}
