import { chooseBurst } from "@dyetrace/locate";
import type { SiteGraph } from "@dyetrace/site";
import { describeFault, Fault, followsOthers, formatCount, type RunRequest } from "@dyetrace/wire";
import { accountOfRun } from "../account/run-account.ts";
import type { RunEvidence } from "../account/run-evidence.ts";
import type { AgentRegistry } from "../agents/agent-registry.ts";
import { buildReport } from "../conclude/build-report.ts";
import type { RunBursts } from "../conclude/with-bursts.ts";
import { BURST_SPAN_S, BURST_TIMES, compileBursts } from "../conduct/bursts.ts";
import { conductRun } from "../conduct/conduct-run.ts";
import { SafetyGuard } from "../conduct/run-guard.ts";
import type { DeviceDesk } from "../devices/device-desk.ts";
import type { DeviceEvidence } from "../devices/evidence/device-evidence.ts";
import { RunDevices } from "../devices/run-devices.ts";
import type { CompiledRun } from "../plan/compiled-run.ts";
import { refuseOverload } from "../plan/overload.ts";
import type { Safety } from "../plan/safety.ts";
import { addresses, newRunId, quietly, type Say } from "./look-first.ts";

interface Bursting {
  readonly request: RunRequest;
  readonly graph: SiteGraph;
  readonly registry: AgentRegistry;
  readonly safety: Safety;
  readonly devices?: DeviceDesk;
}

/** Between two readings of the devices meanwhile. */
const EVERY_MS = 1_000;

export const asksForBursts = ({ bursts }: RunRequest, { scenario }: CompiledRun): boolean =>
  bursts === true || scenario.sendsBursts === true;

/**
 * Sends test packets of a number that stands out of what else the devices count, where the run's own did not.
 * @param read what devices said of the run @returns null where nobody asked for it
 */
export async function sendBursts(
  one: Bursting,
  run: CompiledRun,
  evidence: RunEvidence,
  read: DeviceEvidence | null,
  signal: AbortSignal,
  say: Say,
): Promise<RunBursts | null> {
  const { request, graph, registry, safety } = one;
  if (!asksForBursts(request, run) || followsOthers(run) || evidence.isAborted || signal.aborted) return null;
  const none = (why: string): RunBursts => {
    const note = `No test burst was sent: ${why}.`;
    say({ kind: "step", text: note });
    return { note, report: null };
  };
  if (read === null) return none("no device was read");
  const { findings, streams } = buildReport(accountOfRun(run, evidence), graph, null, read);
  const sent = new Map(streams.map(({ name, sent: packets }) => [name, packets ?? 0]));
  const chosen = chooseBurst(graph, findings, read.observations, sent, BURST_SPAN_S);
  if (chosen === null) return none("counters leave nothing open that a burst would show");
  const burst = compileBursts(run, newRunId(), graph, addresses(registry), chosen);
  if (typeof burst === "string") return none(burst);
  try {
    refuseOverload(graph, burst.scenario);
  } catch (error) {
    if (!(error instanceof Fault)) throw error;
    return none(describeFault(error));
  }
  const words = `${formatCount(chosen.packets)} packets of ${chosen.streams.join(", ")} in 2 s after the run, for ${formatCount(Math.round(chosen.othersPerS))} frames per second of others at ${chosen.port} hid the run's own`;
  say({ kind: "step", text: `Sending a test burst: ${words}` });
  using devices = await RunDevices.begin(one.devices, graph, burst.runId, quietly(say), [], EVERY_MS);
  const guard = safety.isLive ? new SafetyGuard(burst, graph) : null;
  const seen = await conductRun(burst, registry, signal, quietly(say), undefined, guard);
  const startMs = seen.startedAt.getTime();
  const sending = { fromMs: startMs + BURST_TIMES.fromNs / 1e6, toMs: startMs + BURST_TIMES.toNs / 1e6 };
  const groups = burst.streams.map(({ group }) => group);
  const counted = (await devices?.end(graph, seen, groups, sending)) ?? null;
  const note = `A test burst was sent: ${words}.`;
  if (seen.isAborted)
    return { note: `${note} It was stopped before its end, so nothing is concluded from it.`, report: null };
  return { note, report: buildReport(accountOfRun(burst, seen), graph, null, counted) };
}
