import { Fault, type RunReport } from "@dyetrace/wire";
import { saysFailure } from "@dyetrace/wire/console/run-failure";
import { dateAndTime } from "../../report/time-of-day.ts";
import type { RunRecord } from "../../store/run-record.ts";

/** @throws {Fault} RUN_UNFINISHED, or why the run could not run */
export function reportOf(record: RunRecord): RunReport {
  if (record.report !== null) return record.report;
  if (record.failure !== null) {
    const at = record.endedAt === null ? "" : `, ${dateAndTime(record.endedAt)}`;
    throw new Fault(
      "RUN_UNFINISHED",
      `${saysFailure(record.runId, record.failure)}${at}: ${record.failure.message}`,
      record.failure.hint,
    );
  }
  throw new Fault("RUN_UNFINISHED", `Run ${record.runId} has no report yet: it is ${record.state}`, "Wait for its end");
}
