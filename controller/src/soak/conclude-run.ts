import type { SiteGraph } from "@dyetrace/site";
import type { RunProgress, RunReport } from "@dyetrace/wire";
import type { CompiledRun } from "../engine/compile-scenario.ts";
import type { RunEvidence } from "../engine/conduct-run.ts";
import { LONG_RUN_NS } from "../engine/run-crew.ts";
import { buildReport } from "../report/build-report.ts";
import type { ReportIntake } from "../service/report-intake.ts";
import type { Store } from "../store/store.ts";
import { accountStretches } from "./account-stretches.ts";
import { findIncidents } from "./find-incidents.ts";
import { storedEvidence } from "./stored-evidence.ts";

export interface Conclusion {
  readonly run: CompiledRun;
  readonly graph: SiteGraph;
  readonly evidence: RunEvidence;
  readonly store: Store;
  readonly intake: ReportIntake;
}

/** The report of a run that is over, from everything that was stored of it. */
export async function concludeRun(
  { run, graph, evidence, store, intake }: Conclusion,
  say: (progress: RunProgress) => void,
): Promise<RunReport> {
  say({ kind: "step", text: "Working out what happened where" });
  await intake.settle();
  const report = buildReport(run, graph, await storedEvidence(store, run, evidence));
  const stretches = await accountStretches(store, run);
  const isInPieces =
    new Set(stretches.map(({ agent, stream, role }) => `${agent} ${stream} ${role}`)).size < stretches.length;
  if (!isInPieces && run.endNs <= LONG_RUN_NS) return report;
  const incidents = await findIncidents(store, run, graph);
  return { ...report, incidents: [...incidents], stretches: [...stretches] };
}
