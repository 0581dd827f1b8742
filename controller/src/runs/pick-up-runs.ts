import { loadSitePlan } from "@dyetrace/site";
import { Fault, type RunProgress, type RunReport } from "@dyetrace/wire";
import type { Logger } from "pino";
import type { AgentRegistry } from "../agents/agent-registry.ts";
import type { AgentSession, RunMessage } from "../agents/agent-session.ts";
import { monotonicNs } from "../agents/monotonic-clock.ts";
import { seeThrough } from "../conduct/conduct-run.ts";
import { RunAgents } from "../conduct/run-agents.ts";
import type { ReportIntake } from "../intake/report-intake.ts";
import { type PackedRun, unpackCompiledRun } from "../plan/compiled-run-json.ts";
import { outlineRun } from "../plan/outline-run.ts";
import type { RunRecord, RunStart } from "../store/run-record.ts";
import type { Store } from "../store/store.ts";
import { concludeRun } from "./conclude-run.ts";
import { bootId, CONTROLLER_INSTANCE } from "./controller-boot.ts";
import { finishRun } from "./keep-run.ts";
import type { RunRegistry } from "./run-registry.ts";

export interface PickUpSurroundings {
  readonly registry: AgentRegistry;
  readonly runs: RunRegistry;
  readonly store: Store;
  readonly intake: ReportIntake;
  readonly log: Logger;
}

/** A controller that has not said for this long that it conducts a run is gone. */
export const HEARTBEAT_MS = 2000;
const GONE_AFTER_MS = 10_000;

/**
 * Takes up the runs that a controller left unfinished when it ended: agents go on by their tasks meanwhile, and send what
 * they measured. Call before agents can connect.
 * @param isLasting false where the site itself ended with that controller
 */
export async function pickUpRuns(surroundings: PickUpSurroundings, isLasting: boolean): Promise<void> {
  const { store, log } = surroundings;
  for (const record of await store.runs.unfinished()) {
    if (record.state !== "running") continue;
    const isAlive = !store.isPrivate && Date.now() - record.heartbeatMs < GONE_AFTER_MS;
    if (isAlive || !(await store.runs.takeOver(record, CONTROLLER_INSTANCE))) continue;
    if (!isLasting || record.start === null || record.compiled === null) {
      await store.runs.failed(record.runId, {
        code: "AGENT_LOST",
        message: isLasting
          ? "The controller ended before the run had begun"
          : "The practice site and its controller ended before the run did",
        hint: "Start it again",
      });
      continue;
    }
    log.info({ runId: record.runId }, "run taken up again");
    continueRun(record, record.start, surroundings);
  }
}

function continueRun(record: RunRecord, start: RunStart, surroundings: PickUpSurroundings): void {
  const { registry, runs, store, intake } = surroundings;
  const run = unpackCompiledRun(record.compiled as PackedRun);
  const graph = loadSitePlan(record.request.site.text, record.request.site.file);
  const startNs = startOnThisClock(start);
  const job = async (signal: AbortSignal, say: (progress: RunProgress) => void): Promise<RunReport> => {
    say({ kind: "outline", outline: outlineRun(run, record.request.site) });
    const stints = await store.reports.stints(run.runId);
    const agents = new RunAgents(run, [...new Set([...stints.map(({ agent }) => agent), ...run.tasks.keys()])], false);
    for (const { agent, isFinal, toNs } of stints) if (isFinal && toNs >= run.endNs - 1e9) agents.setFinished(agent);
    agents.begin(startNs);
    const awayFromNs = (record.heartbeatMs - start.wallMs) * 1e6;
    await store.reports.addEpisodes(run.runId, [
      {
        kind: "no-control",
        agent: "",
        streamId: null,
        fromNs: awayFromNs,
        toNs: Math.max(awayFromNs, monotonicNs() - startNs),
        count: 1,
        detail: "the controller was restarted",
      },
    ]);
    const onMessage = (session: AgentSession, message: RunMessage): void => agents.take(session, message);
    const onGone = (session: AgentSession): void => agents.lost(session.name);
    registry.on("message", onMessage);
    registry.on("gone", onGone);
    const startedAt = new Date(start.wallMs);
    say({ kind: "go", startsInMs: (startNs - monotonicNs()) / 1e6, lastsMs: run.endNs / 1e6 });
    try {
      const present = [...run.tasks.keys()];
      const underWay = { run, agents, registry, startNs, startedAt, present, absent: [] };
      const evidence = await seeThrough(underWay, signal, say);
      return await concludeRun(
        {
          run,
          graph,
          evidence: { ...evidence, isComplete: false },
          store,
          intake,
          probeOf: record.request.probeOf,
        },
        say,
      );
    } finally {
      registry.off("message", onMessage);
      registry.off("gone", onGone);
    }
  };
  runs.start(record.runId, finishRun(store, record.runId, job));
}

/** On another boot of this machine the monotonic clock is another one, and the wall clock has to do. */
function startOnThisClock({ wallMs, controllerNs, bootId: boot }: RunStart): number {
  return boot === bootId() && boot !== "unknown" ? controllerNs : monotonicNs() - (Date.now() - wallMs) * 1e6;
}

/** Says every few seconds that this controller conducts its runs. */
export function keepHeartbeat({ runs, store, log }: PickUpSurroundings): Disposable {
  const beat = setInterval(() => {
    for (const run of runs.list()) {
      if (!run.isRunning) continue;
      store.runs.heartbeat(run.id).catch((error: unknown) => {
        const err = store.fault(error);
        log.error({ err, runId: run.id }, err instanceof Fault ? "heartbeat not stored" : "heartbeat failed");
      });
    }
  }, HEARTBEAT_MS);
  return { [Symbol.dispose]: () => clearInterval(beat) };
}
