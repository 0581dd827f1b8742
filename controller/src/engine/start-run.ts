import { randomBytes } from "node:crypto";
import { checkScenarioAgainstSite, loadSitePlan } from "@dyetrace/site";
import { loadScenario, parseIpAddress, type RunProgress, type RunReport, type RunRequest } from "@dyetrace/wire";
import { buildReport } from "../report/build-report.ts";
import type { AgentRegistry } from "../service/agent-registry.ts";
import { controllerStart } from "../service/controller-boot.ts";
import { keepRun } from "../service/keep-run.ts";
import type { RunDesk } from "../service/run-desk.ts";
import type { Store } from "../store/store.ts";
import { type AgentAddresses, compileScenario } from "./compile-scenario.ts";
import { conductRun } from "./conduct-run.ts";
import { outlineRun } from "./outline-run.ts";

/**
 * Checks a request whole before anything moves, then starts it.
 * @returns the run's id @throws {Fault} a mistake in a file, or RUN_BUSY
 */
export function startRun(request: RunRequest, registry: AgentRegistry, runs: RunDesk, store: Store): string {
  const graph = loadSitePlan(request.site.text, request.site.file);
  const loaded = loadScenario(request.scenario.text, request.scenario.file, {
    parameters: request.parameters ?? {},
  });
  checkScenarioAgainstSite(loaded, graph);
  const runId = randomBytes(8).toString("hex");
  const compiled = compileScenario(runId, loaded.scenario, graph, addresses(registry));
  const job = async (signal: AbortSignal, say: (progress: RunProgress) => void): Promise<RunReport> => {
    say({ kind: "outline", outline: outlineRun(compiled, request.site) });
    const onStart = (startNs: number, startedAt: Date): void => {
      void store.runs.started(runId, controllerStart(startNs, startedAt)).catch(() => undefined);
    };
    const evidence = await conductRun(compiled, registry, signal, say, onStart);
    say({ kind: "step", text: "Working out what happened where" });
    return buildReport(compiled, graph, evidence);
  };
  const scenario = loaded.scenario.name;
  runs.start(
    runId,
    keepRun(store, { runId, site: graph.name, scenario, request, endNs: compiled.endNs, startAtMs: null }, job),
  );
  return runId;
}

function addresses(registry: AgentRegistry): ReadonlyMap<string, AgentAddresses> {
  return new Map(
    registry.list().map(({ name, capabilities }) => [
      name,
      {
        ipv4: capabilities.interface.ipv4,
        ipv6: capabilities.interface.ipv6.filter((text) => parseIpAddress(text) !== null),
      },
    ]),
  );
}
