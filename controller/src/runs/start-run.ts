import { loadSitePlan } from "@dyetrace/site";
import { Fault, followsOthers, parseInstantMs, type RunReport, type RunRequest } from "@dyetrace/wire";
import type { DiskNeed } from "@dyetrace/wire/console/run-forecast";
import { CONTROLLER_INSTANCE } from "../about/controller-instance.ts";
import { VERSION } from "../about/version.ts";
import { accountOfRun } from "../account/run-account.ts";
import type { AgentRegistry } from "../agents/agent-registry.ts";
import { buildReport } from "../conclude/build-report.ts";
import { conductRun } from "../conduct/conduct-run.ts";
import { splitByPresence } from "../conduct/needed-agents.ts";
import { compileRamp } from "../conduct/ramp.ts";
import { SafetyGuard } from "../conduct/run-guard.ts";
import type { DeviceDesk } from "../devices/device-desk.ts";
import { RunDevices } from "../devices/run-devices.ts";
import type { AgentCalls } from "../estate/call-agents.ts";
import type { RunHolds } from "../estate/run-holds.ts";
import { withKeptHeaders } from "../headers/keep-headers.ts";
import { LossWindows } from "../headers/loss-windows.ts";
import type { ReportIntake } from "../intake/report-intake.ts";
import { burstsAhead } from "../plan/bursts-ahead.ts";
import { FOLLOWING_AHEAD } from "../plan/cautions.ts";
import { adviseGroups } from "../plan/check-plan.ts";
import { compileScenario } from "../plan/compile-scenario.ts";
import type { CompiledRun } from "../plan/compiled-run.ts";
import { packCompiledRun } from "../plan/compiled-run-json.ts";
import { refuseUnconfirmedLoad } from "../plan/confirm-load.ts";
import { outlineRun } from "../plan/outline-run.ts";
import { refuseOverload } from "../plan/overload.ts";
import type { Safety } from "../plan/safety.ts";
import type { Retention } from "../store/retention.ts";
import type { RunRecord } from "../store/run-record.ts";
import type { NewRun } from "../store/run-records.ts";
import type { Store } from "../store/store.ts";
import { stored } from "../store/stored.ts";
import type { LiveStories } from "../story/live-stories.ts";
import { concludeRun } from "./conclude-run.ts";
import { controllerStart } from "./controller-boot.ts";
import { diskNeed } from "./disk-need.ts";
import { beginRun, finishRun, keepRun, writeFailure } from "./keep-run.ts";
import type { LateWrites } from "./late-writes.ts";
import { addresses, type Looked, lookFirst, newRunId, quietly, type Say } from "./look-first.ts";
import { doubtPlan } from "./plan-doubts.ts";
import { readScenario, refuseShortened, refuseUnfitGroups } from "./read-request.ts";
import type { RunJob, RunPlace, RunRegistry } from "./run-registry.ts";
import { sayCautions } from "./say-cautions.ts";
import { asksForBursts, sendBursts } from "./send-bursts.ts";

/** What a run needs of its controller. */
export interface RunSurroundings {
  readonly registry: AgentRegistry;
  readonly runs: RunRegistry;
  readonly store: Store;
  readonly late: LateWrites;
  readonly holds: RunHolds;
  readonly calls: AgentCalls;
  readonly intake: ReportIntake;
  readonly safety: Safety;
  readonly stories: LiveStories;
  /** Switches and routers that may be read; absent: none. */
  readonly devices?: DeviceDesk;
}

/**
 * Checks a request whole before anything moves, then starts it.
 * @returns the run's id @throws {Fault} a mistake in a file, groups that must not be used, or RUN_BUSY
 */
export async function startRun(request: RunRequest, surroundings: RunSurroundings): Promise<string> {
  const { runs, store } = surroundings;
  const { run, first, job } = undertake(request, newRunId(), surroundings);
  const place = placeOf(first, run.site);
  if (store.isPrivate) {
    runs.start(run.runId, keepRun(surroundings, run, job), place);
    return run.runId;
  }
  runs.refuseBusy(place);
  await beginRun(surroundings, run); // another controller may have a run there
  try {
    await conductGathered(request, run.runId, surroundings);
  } catch (error) {
    await writeFailure(surroundings, run.runId, error);
    throw error;
  }
  return run.runId;
}

/** Conducts a run that is this controller's in the store, once its agents have come here. @throws {Fault} as `startScheduledRun` */
async function conductGathered(request: RunRequest, runId: string, surroundings: RunSurroundings): Promise<void> {
  const { registry, calls, runs } = surroundings;
  await calls.gather(runId, agentsToAct(undertake(request, runId, surroundings).first));
  const { run, first, job } = undertake(request, runId, surroundings);
  splitByPresence(first, registry);
  runs.start(runId, finishRun(surroundings, runId, job), placeOf(first, run.site));
}

const agentsToAct = ({ tasks }: CompiledRun): readonly string[] =>
  [...tasks].flatMap(([agent, { actions }]) => (actions.length > 0 ? agent : []));
export const placeOf = (run: CompiledRun, site: string): RunPlace => ({ site, agents: new Set(run.tasks.keys()) });

const PAST_MS = 60_000; // a request may take this long on its way
/** Whoever writes more has mistaken the year. */
const MOST_AHEAD_MS = 366 * 86_400_000;

/**
 * Checks a request whole and writes it down for a later start.
 * @param startAt as RFC 3339 writes instants @throws {Fault} OPTION_INVALID of that, a mistake in a file, or groups that must not be used
 */
export async function scheduleRun(
  request: RunRequest,
  startAt: string,
  surroundings: RunSurroundings,
): Promise<RunRecord> {
  const { store } = surroundings;
  const startAtMs = parseInstantMs(startAt, "startAt");
  const aheadMs = startAtMs - Date.now();
  if (aheadMs < -PAST_MS || aheadMs > MOST_AHEAD_MS) {
    const why = aheadMs < 0 ? "is past" : "is more than a year away";
    throw new Fault("OPTION_INVALID", `startAt ${startAt} ${why}`, `It is ${new Date().toISOString()} here`);
  }
  const { run } = undertake(request, newRunId(), surroundings);
  await store.runs.add({ ...run, startAtMs, programVersion: VERSION, owner: CONTROLLER_INSTANCE });
  return store.runs.get(run.runId);
}

/** Starts a run whose time has come, unless another controller does. @throws {Fault} as `startRun`, and AGENT_MISSING */
export async function startScheduledRun(
  { request, runId }: RunRecord,
  surroundings: RunSurroundings,
  isTriedBefore: boolean,
): Promise<"begun" | "not ours"> {
  const { runs, store, holds } = surroundings;
  const { run, first, job } = undertake(request, runId, surroundings);
  const place = placeOf(first, run.site);
  // Now, while it can still wait for an agent. Where others may have them, they begin it, and whoever tries again calls them.
  if (store.isPrivate || !isTriedBefore) splitByPresence(first, surroundings.registry);
  if (store.isPrivate) {
    runs.start(runId, finishRun(surroundings, runId, job), place);
    return "begun";
  }
  runs.refuseBusy(place);
  const askedMs = performance.now();
  const epoch = await stored(store, () => store.leases.claim(runId, CONTROLLER_INSTANCE));
  if (epoch === null) return "not ours"; // another controller begins it, or it was cancelled
  holds.hold(runId, epoch, askedMs);
  try {
    await conductGathered(request, runId, surroundings);
  } catch (error) {
    const lease = holds.leaseOf(runId);
    holds.drop(runId);
    if (lease !== null) await stored(store, () => store.leases.unclaim(lease));
    throw error;
  }
  return "begun";
}

/** What a run would take on disk. @throws {Fault} a mistake in a file */
export function runNeed(request: RunRequest, { registry }: RunSurroundings, retention: Retention): DiskNeed {
  const graph = loadSitePlan(request.site.text, request.site.file);
  const { scenario } = readScenario(request, graph, null);
  return diskNeed(compileScenario(newRunId(), scenario, graph, addresses(registry)), retention);
}

/** Checks a request whole. @returns the run, as it stands now, and the job that carries it out */
function undertake(
  request: RunRequest,
  runId: string,
  surroundings: RunSurroundings,
): { readonly run: Omit<NewRun, "programVersion" | "owner">; readonly first: CompiledRun; readonly job: RunJob } {
  const { safety } = surroundings;
  const graph = loadSitePlan(request.site.text, request.site.file);
  const loaded = readScenario(request, graph, null);
  const { scenario } = loaded;
  const isFollowing = followsOthers(scenario);
  const advice = isFollowing ? [] : adviseGroups(graph, scenario);
  if (!isFollowing) refuseOverload(graph, scenario);
  if (safety.isLive && !isFollowing) {
    if (request.despite?.includes("advice") !== true) refuseUnfitGroups(advice);
    refuseShortened(loaded, request);
    refuseUnconfirmedLoad(graph, scenario, request.confirmation);
  }
  const first = compileScenario(runId, scenario, graph, addresses(surroundings.registry));
  const job = async (signal: AbortSignal, say: Say): Promise<RunReport> => {
    for (const { level, sentence, reference } of advice) say({ kind: "advice", level, text: sentence, reference });
    return conductSafely({ request, graph, first, ...surroundings }, signal, say);
  };
  const run = { runId, site: graph.name, scenario: scenario.name, request, endNs: first.endNs, startAtMs: null };
  return { run, first, job };
}

type Undertaking = RunSurroundings & Looked;

/** Looks, on a live site goes up the ramp, and then runs. */
async function conductSafely(one: Undertaking, signal: AbortSignal, say: Say): Promise<RunReport> {
  const { request, graph, first, registry, store, late, holds, intake, safety, stories } = one;
  const isFollowing = followsOthers(first);
  if (safety.isLive && !isFollowing) sayCautions(one, say);
  if (isFollowing) say({ kind: "step", text: FOLLOWING_AHEAD });
  if (asksForBursts(request, first)) say({ kind: "step", text: burstsAhead(graph) });
  const { contradictions, readings } = await doubtPlan(graph, one, first.runId, say);
  const run = withKeptHeaders(await lookFirst(one, signal, say), request);
  const outline = outlineRun(run, request.site);
  say({ kind: "outline", outline });
  stories.expect(run.runId, outline);
  const isClimbing = safety.isLive && !isFollowing;
  const stopped = isClimbing ? await climb(one, run, signal, say) : null;
  if (stopped !== null) return stopped;
  const compiled = packCompiledRun(run);
  const lease = holds.leaseOf(run.runId);
  const onStart = async (startNs: number, startedAt: Date): Promise<void> => {
    stories.begin(run.runId, startNs);
    const start = controllerStart(startNs, startedAt);
    const trouble = await late.write(run.runId, () => store.runs.started(run.runId, start, compiled, lease));
    // Another controller could not know that it has begun, and might begin it anew.
    if (trouble !== null && !store.isPrivate) throw trouble;
  };
  const guard = isClimbing ? new SafetyGuard(run, graph) : null;
  using losses = new LossWindows(run, registry);
  // What the ramp sent is no traffic of the site's own.
  using devices = await RunDevices.begin(one.devices, graph, run.runId, say, isClimbing ? [] : readings);
  const evidence = await conductRun(run, registry, signal, say, onStart, guard);
  const groups = run.streams.map(({ group }) => group);
  const read = (await devices?.end(graph, evidence, groups)) ?? null;
  const bursts = await sendBursts(one, run, evidence, read, signal, say);
  const { site, probeOf } = request;
  const told = { run, graph, evidence, store, intake, probeOf, late, stories, site, registry, losses };
  return concludeRun({ ...told, read, contradictions, bursts }, signal, say);
}

/** Goes up to the full rate. @returns the report of a run that was stopped on the way, null when all is well */
async function climb(
  { graph, registry, safety }: Undertaking,
  run: CompiledRun,
  signal: AbortSignal,
  say: Say,
): Promise<RunReport | null> {
  const ramp = compileRamp(run, newRunId(), graph, addresses(registry), safety.rampStepNs);
  say({
    kind: "step",
    text: "Beginning with 10 packets/s of each stream and doubling, with every bystander watching",
  });
  const seen = await conductRun(ramp, registry, signal, quietly(say), undefined, new SafetyGuard(ramp, graph));
  if (!seen.isAborted) return null;
  say({
    kind: "step",
    text: `Stopped before the full rate: ${seen.stopReason ?? `by ${seen.stoppedBy ?? "an operator"}`}`,
  });
  return { ...buildReport(accountOfRun(ramp, seen), graph), run: run.runId };
}
