import type { Kysely } from "kysely";
import type { ReportBody } from "./pack/kept-report.ts";
import { packBody, unpackBody } from "./pack/pack-body.ts";
import type { StoreTables } from "./store-tables.ts";

/** From rows of one length to rows of a longer one. 0 is "as reported". */
export interface RollUpStep {
  readonly fromGrainNs: number;
  readonly toGrainNs: number;
  /** Stretches that end by this instant of the run. */
  readonly beforeNs: number;
}

/** How two neighbours become one. @returns null where they must stay apart */
export type JoinBodies = (a: ReportBody, b: ReportBody) => ReportBody | null;

/**
 * Puts rows of one stint together that lie within the same stretch of `toGrainNs` and ended before `beforeNs`. What
 * `join` makes of them replaces them in one transaction.
 * @returns how many rows went away
 */
export async function rollUpReports(
  database: Kysely<StoreTables>,
  runId: string,
  grain: RollUpStep,
  join: JoinBodies,
): Promise<number> {
  const heads = await database
    .selectFrom("reports")
    .select(["agent", "stint", "first_number", "last_number", "from_ns"])
    .where("run_id", "=", runId)
    .where("grain_ns", "=", grain.fromGrainNs)
    .where("to_ns", "<=", grain.beforeNs)
    .orderBy("agent")
    .orderBy("stint")
    .orderBy("first_number")
    .limit(5000)
    .execute();
  let removed = 0;
  for (const group of groupsOf(heads, grain)) {
    removed += await database.transaction().execute(async (db) => {
      const rows = await db
        .selectFrom("reports")
        .selectAll()
        .where("run_id", "=", runId)
        .where("agent", "=", group.agent)
        .where("stint", "=", group.stint)
        .where("first_number", ">=", group.firstNumber)
        .where("last_number", "<=", group.lastNumber)
        .orderBy("first_number")
        .execute();
      const joined = joinRows(rows, grain.toGrainNs, join);
      await db
        .deleteFrom("reports")
        .where("run_id", "=", runId)
        .where("agent", "=", group.agent)
        .where("stint", "=", group.stint)
        .where("first_number", ">=", group.firstNumber)
        .where("last_number", "<=", group.lastNumber)
        .execute();
      if (joined.length > 0) await db.insertInto("reports").values(joined).execute();
      return rows.length - joined.length;
    });
  }
  return removed;
}

type ReportRow = StoreTables["reports"];

function joinRows(rows: readonly ReportRow[], grainNs: number, join: JoinBodies): ReportRow[] {
  const joined: { readonly row: ReportRow; readonly body: ReportBody }[] = [];
  for (const row of rows) {
    const body = unpackBody(row.body);
    const before = joined.at(-1);
    const both = before === undefined ? null : join(before.body, body);
    if (before === undefined || both === null) joined.push({ row, body });
    else joined.splice(-1, 1, { row: { ...before.row, last_number: row.last_number, to_ns: row.to_ns }, body: both });
  }
  return joined.map(({ row, body }) => ({ ...row, grain_ns: grainNs, body: packBody(body) }));
}

interface RowGroup {
  readonly agent: string;
  readonly stint: string;
  readonly firstNumber: number;
  lastNumber: number;
}

/** Neighbouring rows of one stint that begin in the same stretch, where that stretch is over. */
function groupsOf(
  heads: readonly Pick<ReportRow, "agent" | "stint" | "first_number" | "last_number" | "from_ns">[],
  { toGrainNs, beforeNs }: RollUpStep,
): RowGroup[] {
  const groups: RowGroup[] = [];
  let open: { readonly group: RowGroup; readonly stretch: number } | null = null;
  for (const head of heads) {
    const stretch = Math.floor(head.from_ns / toGrainNs);
    if ((stretch + 1) * toGrainNs > beforeNs) continue;
    const isNext =
      open !== null &&
      open.stretch === stretch &&
      open.group.agent === head.agent &&
      open.group.stint === head.stint &&
      open.group.lastNumber + 1 === head.first_number;
    if (open !== null && isNext) open.group.lastNumber = head.last_number;
    else {
      const { agent, stint, first_number: firstNumber, last_number: lastNumber } = head;
      const group = { agent, stint, firstNumber, lastNumber };
      groups.push(group);
      open = { group, stretch };
    }
  }
  return groups;
}
