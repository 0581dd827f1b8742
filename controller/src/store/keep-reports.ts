import { type Kysely, type RawBuilder, sql, type Transaction } from "kysely";
import type { Episode, KeptReport } from "./pack/kept-report.ts";
import type { StoreTables } from "./store-tables.ts";

/**
 * `kept` is new; `known` was stored before; `unknown-run` belongs to no run here; `overlap` repeats a part of what is
 * stored and can't be told apart from it, so it is left out; `gap` does not follow what is stored of its stint, as it is when a
 * store was put back from an older copy: it has to come again, after those between.
 */
export type KeepOutcome = "kept" | "known" | "unknown-run" | "overlap" | "gap";

/** Rows that one statement carries: both databases bound the number of its parameters. */
const ROWS_AT_ONCE = 400;

/**
 * Stores a batch, all or nothing: when this resolves, every report of it may be acknowledged. A report that comes a
 * second time changes nothing, so each is counted once whatever dies in between.
 * @returns one outcome for each report, in order
 */
export async function keepReports(
  database: Kysely<StoreTables>,
  batch: readonly KeptReport[],
): Promise<readonly KeepOutcome[]> {
  if (batch.length === 0) return [];
  return database.transaction().execute(async (db) => {
    const runIds = [...new Set(batch.map((report) => report.runId))];
    const runs = await db.selectFrom("runs").select("id").where("id", "in", runIds).execute();
    const knownRuns = new Set(runs.map((run) => run.id));
    const cursors = new Map<string, Cursor>();
    const stints = await db
      .selectFrom("stints")
      .selectAll()
      .where("run_id", "in", runIds)
      .where("agent", "in", [...new Set(batch.map((report) => report.agent))])
      .execute();
    for (const row of stints) {
      cursors.set(`${row.run_id} ${row.agent} ${row.stint}`, {
        fromNs: row.from_ns,
        toNs: row.to_ns,
        keptNumber: row.kept_number,
        isFinal: row.is_final === 1,
        droppedReports: row.dropped_reports,
        isTouched: false,
      });
    }
    const fresh: KeptReport[] = [];
    const outcomes = batch.map((report): KeepOutcome => {
      if (!knownRuns.has(report.runId)) return "unknown-run";
      const key = `${report.runId} ${report.agent} ${report.stint}`;
      const cursor = cursors.get(key);
      if (cursor !== undefined && report.firstNumber <= cursor.keptNumber) {
        return report.lastNumber <= cursor.keptNumber ? "known" : "overlap";
      }
      const isNext = report.firstNumber - 1 - report.droppedReports <= (cursor?.keptNumber ?? 0);
      if (report.mustFollow && !isNext) return "gap";
      const { fromNs, toNs } = report;
      cursors.set(key, {
        fromNs: cursor?.fromNs ?? fromNs,
        toNs: Math.max(cursor?.toNs ?? toNs, toNs),
        keptNumber: report.lastNumber,
        isFinal: report.isFinal || cursor?.isFinal === true,
        droppedReports: (cursor?.droppedReports ?? 0) + report.droppedReports,
        isTouched: true,
      });
      fresh.push(report);
      return "kept";
    });
    await insertReports(db, fresh);
    await insertEpisodes(
      db,
      fresh.flatMap(({ runId, episodes }) => episodes.map((episode) => ({ runId, episode }))),
    );
    await addMinutes(db, fresh);
    await touchStints(db, cursors);
    return outcomes;
  });
}

interface Cursor {
  readonly fromNs: number;
  readonly toNs: number;
  readonly keptNumber: number;
  readonly isFinal: boolean;
  readonly droppedReports: number;
  readonly isTouched: boolean;
}

type Db = Kysely<StoreTables> | Transaction<StoreTables>;

async function insertReports(db: Db, reports: readonly KeptReport[]): Promise<void> {
  for (const part of parts(reports)) {
    await db
      .insertInto("reports")
      .values(
        part.map(({ runId, agent, stint, firstNumber, lastNumber, fromNs, toNs, packed }) => ({
          run_id: runId,
          agent,
          stint,
          first_number: firstNumber,
          last_number: lastNumber,
          from_ns: fromNs,
          to_ns: toNs,
          grain_ns: 0,
          body: packed,
        })),
      )
      .execute();
  }
}

export async function insertEpisodes(
  db: Db,
  episodes: readonly { readonly runId: string; readonly episode: Episode }[],
): Promise<void> {
  for (const part of parts(episodes)) {
    await db
      .insertInto("episodes")
      .values(
        part.map(({ runId, episode }) => ({
          run_id: runId,
          kind: episode.kind,
          agent: episode.agent,
          stream_id: episode.streamId,
          from_ns: episode.fromNs,
          to_ns: episode.toNs,
          count: episode.count,
          detail: episode.detail,
        })),
      )
      .execute();
  }
}

/** Adds to what the minute has already; one statement must not touch the same row twice, so sums come first. */
async function addMinutes(db: Db, reports: readonly KeptReport[]): Promise<void> {
  const sums = new Map<string, StoreTables["minutes"]>();
  for (const { runId, agent, minutes } of reports) {
    for (const minute of minutes) {
      const key = `${runId} ${minute.streamId} ${agent} ${minute.minute}`;
      const sum = sums.get(key);
      sums.set(key, {
        run_id: runId,
        stream_id: minute.streamId,
        agent,
        minute: minute.minute,
        received: (sum?.received ?? 0) + minute.received,
        lost: (sum?.lost ?? 0) + minute.lost,
        host_lost: sum?.host_lost === null || minute.hostLost === null ? null : (sum?.host_lost ?? 0) + minute.hostLost,
        duplicates: (sum?.duplicates ?? 0) + minute.duplicates,
        reordered: (sum?.reordered ?? 0) + minute.reordered,
        longest_gap_ns: Math.max(sum?.longest_gap_ns ?? 0, minute.longestGapNs),
        longest_silence_ns: Math.max(sum?.longest_silence_ns ?? 0, minute.longestSilenceNs),
      });
    }
  }
  for (const part of parts([...sums.values()])) {
    await db
      .insertInto("minutes")
      .values(part)
      .onConflict((conflict) =>
        conflict.columns(["run_id", "stream_id", "agent", "minute"]).doUpdateSet((set) => ({
          received: set("minutes.received", "+", set.ref("excluded.received")),
          lost: set("minutes.lost", "+", set.ref("excluded.lost")),
          host_lost: set("minutes.host_lost", "+", set.ref("excluded.host_lost")),
          duplicates: set("minutes.duplicates", "+", set.ref("excluded.duplicates")),
          reordered: set("minutes.reordered", "+", set.ref("excluded.reordered")),
          longest_gap_ns: greater("longest_gap_ns"),
          longest_silence_ns: greater("longest_silence_ns"),
        })),
      )
      .execute();
  }
}

async function touchStints(db: Db, cursors: ReadonlyMap<string, Cursor>): Promise<void> {
  const rows = [...cursors].flatMap(([key, cursor]) => {
    const [run_id, agent, stint] = key.split(" ");
    if (!cursor.isTouched || run_id === undefined || agent === undefined || stint === undefined) return [];
    return [
      {
        run_id,
        agent,
        stint,
        from_ns: cursor.fromNs,
        to_ns: cursor.toNs,
        kept_number: cursor.keptNumber,
        is_final: cursor.isFinal ? 1 : 0,
        dropped_reports: cursor.droppedReports,
      },
    ];
  });
  for (const part of parts(rows)) {
    await db
      .insertInto("stints")
      .values(part)
      .onConflict((conflict) =>
        conflict.columns(["run_id", "agent", "stint"]).doUpdateSet((set) => ({
          to_ns: set.ref("excluded.to_ns"),
          kept_number: set.ref("excluded.kept_number"),
          is_final: set.ref("excluded.is_final"),
          dropped_reports: set.ref("excluded.dropped_reports"),
        })),
      )
      .execute();
  }
}

const greater = (column: "longest_gap_ns" | "longest_silence_ns"): RawBuilder<number> => {
  const [old, added] = [sql.ref(`minutes.${column}`), sql.ref(`excluded.${column}`)];
  return sql<number>`case when ${added} > ${old} then ${added} else ${old} end`;
};

function parts<T>(items: readonly T[]): T[][] {
  const cut: T[][] = [];
  for (let from = 0; from < items.length; from += ROWS_AT_ONCE) cut.push(items.slice(from, from + ROWS_AT_ONCE));
  return cut;
}
