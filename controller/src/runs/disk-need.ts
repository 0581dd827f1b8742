import type { DiskNeed } from "@dyetrace/wire/console/run-forecast";
import type { CompiledRun } from "../plan/compiled-run.ts";
import type { Retention } from "../store/retention.ts";

/**
 * Bytes of a deflated report in the store, by what is in it. Measured with tests/bench/soak: 20 agents, 10 streams, with
 * losses in some intervals. A row that is rolled up holds fuller histograms, so it is larger than a report.
 */
const REPORT_BYTES = 500;
const LISTENED_BYTES = 450;
const ROLLED_LISTENED_BYTES = 900;
const SENT_BYTES = 120;
/** One row of counts a minute for each stream and listener, its index included. */
const MINUTE_BYTES = 160;
/** A waiting report is not deflated. */
const SPOOLED_FACTOR = 5;

/** Pure. */
export function diskNeed(run: CompiledRun, retention: Retention): DiskNeed {
  const seconds = run.endNs / 1e9;
  const fine = Math.min(seconds, retention.fullDetailNs / 1e9);
  const coarse = Math.max(0, Math.min(seconds, retention.tenSecondsNs / 1e9) - fine) / 10;
  const coarsest = Math.max(0, seconds - retention.tenSecondsNs / 1e9) / 60;
  let controllerBytes = 0;
  let agentBytes = 0;
  for (const task of run.tasks.values()) {
    const of = (kind: string): number =>
      new Set(task.actions.filter((action) => action.kind === kind).map(({ streamId }) => streamId)).size;
    const [listened, sent] = [of("join"), of("emit")];
    const report = REPORT_BYTES + listened * LISTENED_BYTES + sent * SENT_BYTES;
    const rolled = REPORT_BYTES + listened * ROLLED_LISTENED_BYTES + sent * SENT_BYTES;
    controllerBytes += fine * report + (coarse + coarsest) * rolled + (seconds / 60) * listened * MINUTE_BYTES;
    agentBytes = Math.max(agentBytes, seconds * report * SPOOLED_FACTOR);
  }
  return { controllerBytes: Math.ceil(controllerBytes), agentBytes: Math.ceil(agentBytes) };
}
