import { loadSitePlan } from "@dyetrace/site";
import type { RunProgress, RunReport } from "@dyetrace/wire";
import type { Logger } from "pino";
import type { RunEvidence } from "../account/run-evidence.ts";
import type { AgentRegistry } from "../agents/agent-registry.ts";
import type { AgentSession } from "../agents/agent-session.ts";
import { monotonicNs } from "../agents/monotonic-clock.ts";
import { BACK_WITHIN_NS, seeThrough } from "../conduct/conduct-run.ts";
import { followAgents } from "../conduct/follow-agents.ts";
import { RunAgents } from "../conduct/run-agents.ts";
import { SafetyGuard } from "../conduct/run-guard.ts";
import type { DeviceDesk } from "../devices/device-desk.ts";
import { RunDevices } from "../devices/run-devices.ts";
import type { AgentCalls } from "../estate/call-agents.ts";
import type { RunHolds } from "../estate/run-holds.ts";
import type { ReportIntake } from "../intake/report-intake.ts";
import { tellStored } from "../intake/tell-stored.ts";
import { type PackedRun, unpackCompiledRun } from "../plan/compiled-run-json.ts";
import { outlineRun } from "../plan/outline-run.ts";
import type { Safety } from "../plan/safety.ts";
import type { RunRecord, RunStart } from "../store/run-record.ts";
import type { Store } from "../store/store.ts";
import type { LiveStories } from "../story/live-stories.ts";
import { concludeRun } from "./conclude-run.ts";
import { bootId } from "./controller-boot.ts";
import { finishRun } from "./keep-run.ts";
import type { LateWrites } from "./late-writes.ts";
import type { RunRegistry } from "./run-registry.ts";
import { placeOf } from "./start-run.ts";

export interface ContinueSurroundings {
  readonly registry: AgentRegistry;
  readonly runs: RunRegistry;
  readonly store: Store;
  readonly late: LateWrites;
  readonly holds: RunHolds;
  readonly calls: AgentCalls;
  readonly intake: ReportIntake;
  readonly safety: Safety;
  readonly stories: LiveStories;
  readonly log: Logger;
  /** Switches and routers that may be read; absent: none. */
  readonly devices?: DeviceDesk;
}

/**
 * Goes on with a run of which another controller ordered the start.
 * @param openNs since when agents can connect here
 * @throws {Fault} RUN_BUSY, or a plan that is none here
 */
export function continueRun(
  record: RunRecord,
  start: RunStart,
  surroundings: ContinueSurroundings,
  openNs: number = monotonicNs(),
): void {
  const { registry, runs, store, late, holds, intake, safety, stories, log } = surroundings;
  const run = unpackCompiledRun(record.compiled as PackedRun);
  const graph = loadSitePlan(record.request.site.text, record.request.site.file);
  const startNs = startOnThisClock(start);
  const goThrough = async (signal: AbortSignal, say: (progress: RunProgress) => void): Promise<RunEvidence> => {
    const stints = await store.reports.stints(run.runId);
    const names = [...new Set([...stints.map(({ agent }) => agent), ...run.tasks.keys()])];
    const agents = new RunAgents(run, names, false, openNs);
    for (const { agent, isFinal, toNs } of stints) if (isFinal && toNs >= run.endNs - 1e9) agents.setFinished(agent);
    agents.begin(startNs);
    await noteAbsence(store, record, start, startNs).catch((error: unknown) =>
      log.error({ err: store.fault(error), runId: run.runId }, "the time without a controller could not be noted"),
    );
    // The store may have been put back from an older copy: agents still have what it lacks.
    const tell = (session: AgentSession): void => {
      if (!run.tasks.has(session.name)) return;
      void tellStored(store, session, run.runId).catch((error: unknown) =>
        log.error({ err: store.fault(error), runId: run.runId }, "an agent could not be told what is stored"),
      );
    };
    registry.on("connected", tell);
    for (const session of registry.list()) tell(session);
    using _called = surroundings.calls.keepCalling(run.runId, [...run.tasks.keys()]);
    using followed = followAgents(run, agents, registry, safety.isLive ? new SafetyGuard(run, graph) : null);
    // Whoever was there before: its part is known from the store, or it has something to do.
    const busy = [...run.tasks].flatMap(([agent, { actions }]) => (actions.length > 0 ? agent : []));
    const expected = new Set([...stints.map(({ agent }) => agent), ...busy]);
    const missing = setTimeout(() => {
      if (monotonicNs() < startNs + run.endNs) followed.missAbsent(expected);
    }, BACK_WITHIN_NS / 1e6);
    say({ kind: "go", startsInMs: (startNs - monotonicNs()) / 1e6, lastsMs: run.endNs / 1e6 });
    const startedAt = new Date(start.wallMs);
    const underWay = { run, agents, registry, startNs, startedAt, present: [...run.tasks.keys()], absent: [] };
    try {
      return await seeThrough(underWay, signal, say, () => followed.stopReason);
    } finally {
      registry.off("connected", tell);
      clearTimeout(missing);
    }
  };
  const job = async (signal: AbortSignal, say: (progress: RunProgress) => void): Promise<RunReport> => {
    const outline = outlineRun(run, record.request.site);
    say({ kind: "outline", outline });
    stories.expect(run.runId, outline);
    stories.begin(run.runId, startNs);
    using devices = RunDevices.resume(surroundings.devices, graph, run.runId, start.wallMs, say);
    const evidence = await goThrough(signal, say).finally(() => registry.conducted.delete(run.runId));
    const groups = run.streams.map(({ group }) => group);
    const read = (await devices?.end(graph, evidence, groups)) ?? null;
    const { probeOf, site } = record.request;
    const told = { ...evidence, isComplete: false };
    return concludeRun(
      { run, graph, evidence: told, store, intake, probeOf, late, stories, site, registry, read },
      signal,
      say,
    );
  };
  // From now on, before anything is read: an agent that comes with this run is not told to stop.
  registry.conducted.set(run.runId, run.runId);
  try {
    runs.start(record.runId, finishRun({ store, late, holds }, record.runId, job), placeOf(run, record.site));
  } catch (error) {
    registry.conducted.delete(run.runId);
    throw error;
  }
}

async function noteAbsence(store: Store, record: RunRecord, start: RunStart, startNs: number): Promise<void> {
  const awayFromNs = (record.heartbeatMs - start.wallMs) * 1e6;
  await store.reports.addEpisodes(record.runId, [
    {
      kind: "no-control",
      agent: "",
      streamId: null,
      fromNs: awayFromNs,
      toNs: Math.max(awayFromNs, monotonicNs() - startNs),
      count: 1,
      detail: store.isPrivate ? "the controller was restarted" : "another controller took the run over",
    },
  ]);
}

/** On another boot of this machine the monotonic clock is another one, and the wall clock has to do. */
function startOnThisClock({ wallMs, controllerNs, bootId: boot }: RunStart): number {
  return boot === bootId() && boot !== "unknown" ? controllerNs : monotonicNs() - (Date.now() - wallMs) * 1e6;
}
