import type { RunProgress } from "@dyetrace/wire";
import type { Logger } from "pino";
import type { AgentRegistry } from "../agents/agent-registry.ts";
import type { RunRegistry } from "../runs/run-registry.ts";

/** What an operator wants to see in the log, each with the run's id. */
export function logNews(log: Logger, registry: AgentRegistry, runs: RunRegistry): void {
  registry.on("connected", ({ name, runId }) => log.info({ agent: name, runId }, "agent connected"));
  registry.on("gone", ({ name }) => log.info({ agent: name }, "agent gone"));
  registry.on("message", ({ name }, message) => {
    if (message.kind !== "trouble") return;
    const { runId, code } = message;
    log.warn({ agent: name, runId, code }, message.message);
  });
  runs.on("progress", (runId, progress) => logProgress(log, runId, progress));
}

function logProgress(log: Logger, runId: string, progress: RunProgress): void {
  switch (progress.kind) {
    case "go":
      log.info({ runId, lastsMs: progress.lastsMs }, "run begins");
      break;
    case "done":
      log.info({ runId, verdict: progress.report.verdict }, "run is over");
      break;
    case "failed":
      log.warn({ runId, code: progress.code }, progress.message);
      break;
    default:
      log.debug({ runId, kind: progress.kind }, "run goes on");
  }
}
