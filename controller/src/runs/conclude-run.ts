import { setTimeout as sleep } from "node:timers/promises";
import { loadSitePlan, type SiteContradiction, type SiteGraph } from "@dyetrace/site";
import type { RunProgress, RunReport, RunRequest, UserFile } from "@dyetrace/wire";
import { accountOfRun } from "../account/run-account.ts";
import type { RunEvidence } from "../account/run-evidence.ts";
import type { AgentRegistry } from "../agents/agent-registry.ts";
import { buildReport } from "../conclude/build-report.ts";
import { withOverTime } from "../conclude/media-over-time.ts";
import { type RunBursts, withBursts } from "../conclude/with-bursts.ts";
import { isLeaving, Left } from "../conduct/leaving.ts";
import type { DeviceEvidence } from "../devices/evidence/device-evidence.ts";
import { readFollowed } from "../followed/read-followed.ts";
import { gatherHeaders } from "../headers/gather-headers.ts";
import type { LossWindows } from "../headers/loss-windows.ts";
import { accountStretches } from "../intake/account-stretches.ts";
import type { ReportIntake } from "../intake/report-intake.ts";
import { findIncidents } from "../night/find-incidents.ts";
import { followedLosses } from "../night/followed-losses.ts";
import { storedEvidence } from "../night/stored-evidence.ts";
import type { CompiledRun } from "../plan/compiled-run.ts";
import { outlineRun } from "../plan/outline-run.ts";
import { type ProbedRun, probedFinding } from "../probe/probed-finding.ts";
import type { Store } from "../store/store.ts";
import type { LiveStories } from "../story/live-stories.ts";
import { tellRun } from "../story/tell-run.ts";
import type { LateWrites } from "./late-writes.ts";
import { withPlanDoubts } from "./plan-doubts.ts";

export interface Conclusion {
  readonly run: CompiledRun;
  readonly graph: SiteGraph;
  readonly evidence: RunEvidence;
  readonly store: Store;
  readonly intake: ReportIntake;
  /** Where the run is a probe: what for. */
  readonly probeOf: RunRequest["probeOf"];
  readonly late: LateWrites;
  readonly stories: LiveStories;
  readonly site: UserFile;
  /** Whose agents are asked for the headers that they kept. */
  readonly registry: AgentRegistry;
  /** What they handed over while it went on; absent where another controller's run was taken up. */
  readonly losses?: LossWindows;
  /** Where the plan and the site differed before it; absent where another controller's run was taken up. */
  readonly contradictions?: readonly SiteContradiction[];
  /** What switches and routers said of it. */
  readonly read?: DeviceEvidence | null;
  /** Test packets that followed it for the devices' counters. */
  readonly bursts?: RunBursts | null;
}

/** A run that is not longer is told as one: what happens in it is no incident of a time of its own. Our choice, no source. */
const BRIEF_NS = 120e9;
/** A store that takes nothing is waited for this long, with the reports that wait for it: a disk takes time to be cleared. */
const STORE_WITHIN_MS = 15 * 60_000;

/** @throws {Left} where the controller ends meanwhile: the next one finds the run as it is */
async function untilStored(
  runId: string,
  intake: ReportIntake,
  signal: AbortSignal,
  say: (progress: RunProgress) => void,
): Promise<void> {
  await intake.settle();
  const isMissing = (): boolean => intake.isTroubled || intake.isAwaiting(runId);
  if (!isMissing()) return;
  say({
    kind: "step",
    text: intake.isTroubled
      ? "The store takes no reports at present: waiting for it"
      : "Agents send again what an older copy of the store has not: waiting for it",
  });
  const deadlineMs = performance.now() + STORE_WITHIN_MS;
  while (isMissing() && performance.now() < deadlineMs) {
    await sleep(500);
    if (isLeaving(signal)) throw new Left();
  }
  await intake.settle();
}

/** The report of a run that is over, from everything that was stored of it. */
export async function concludeRun(
  {
    run,
    graph,
    evidence,
    store,
    intake,
    probeOf,
    late,
    stories,
    site,
    registry,
    losses,
    read: devices = null,
    contradictions = [],
    bursts = null,
  }: Conclusion,
  signal: AbortSignal,
  say: (progress: RunProgress) => void,
): Promise<RunReport> {
  say({ kind: "step", text: "Working out what happened where" });
  const tables = await stories.end(run.runId);
  await untilStored(run.runId, intake, signal, say);
  const story = await tellRun(
    {
      runId: run.runId,
      outline: outlineRun(run, site),
      startedAt: evidence.startedAt.toISOString(),
      isOver: true,
      tables,
      siteTimers: stories.timers,
    },
    evidence,
    store,
  );
  await late.write(`${run.runId} story`, () => store.stories.keep(story));
  const probed = await probedRun(store, probeOf);
  const read = readFollowed(run, await storedEvidence(store, run, evidence), graph);
  const account = accountOfRun(read.run, read.evidence);
  const built = withPlanDoubts(withBursts(buildReport(account, graph, probed, devices), bursts), contradictions);
  const report = read.media.length === 0 ? built : { ...built, media: withOverTime(read.media, account) };
  const headers = await gatherHeaders(run, report, evidence, registry, await losses?.parts());
  if (headers !== null) await late.write(`${run.runId} headers`, () => store.captures.keep(headers));
  const stretches = await accountStretches(store, run);
  const isInPieces =
    new Set(stretches.map(({ agent, stream, role }) => `${agent} ${stream} ${role}`)).size < stretches.length;
  if (!isInPieces && run.endNs <= BRIEF_NS) return report;
  const incidents = await findIncidents(store, read.run, graph, { followed: followedLosses(account) });
  return { ...report, incidents: [...incidents], stretches: [...stretches] };
}

/** What the run was made to part; null where it is no probe, or where the first run is not kept any more. */
async function probedRun(store: Store, probeOf: RunRequest["probeOf"]): Promise<ProbedRun | null> {
  const first = probeOf === undefined ? null : await store.runs.find(probeOf.run);
  if (first === null || first.report === null || probeOf === undefined) return null;
  const { request, report } = first;
  return probedFinding(report, probeOf.finding, request, loadSitePlan(request.site.text, request.site.file));
}
