import { Counter, type Registry } from "prom-client";
import type { ReportIntake } from "../../intake/report-intake.ts";
import type { RunRegistry } from "../../runs/run-registry.ts";
import { BoundedLabels } from "./bounded-labels.ts";

/** Pairs of a listener and a stream with counters of their own: a hundred listeners of ten streams. */
export const MOST_LISTENER_PAIRS = 1000;
/** Where the controller was restarted in the middle of the run. */
const UNNAMED = "unnamed";

/** What each listener reported of each stream, over all runs. */
export function countListeners(register: Registry, runs: RunRegistry, intake: ReportIntake): void {
  const labelNames = ["listener", "stream"] as const;
  const counter = (name: string, help: string): Counter<"listener" | "stream"> =>
    new Counter({ name, help, labelNames, registers: [register] });
  const received = counter(
    "dyetrace_listener_packets_received_total",
    "Test packets that came, by listener and stream",
  );
  const lost = counter(
    "dyetrace_listener_packets_lost_total",
    "Test packets lost in the network, by listener and stream",
  );
  const hostLost = counter("dyetrace_listener_packets_host_lost_total", "Test packets that the host itself dropped");
  const labels = new BoundedLabels(labelNames, MOST_LISTENER_PAIRS);
  const streams = new Map<string, ReadonlyMap<number, string>>();
  runs.on("progress", (runId, progress) => {
    if (progress.kind === "outline") {
      streams.set(runId, new Map(progress.outline.streams.map(({ streamId, name }) => [streamId, name])));
    }
    if (progress.kind === "done" || progress.kind === "failed") streams.delete(runId);
  });
  intake.on("kept", ({ runId, agent, minutes }) => {
    for (const minute of minutes) {
      const stream = streams.get(runId)?.get(minute.streamId) ?? UNNAMED;
      const pair = labels.of({ listener: agent, stream });
      received.inc(pair, minute.received);
      lost.inc(pair, minute.lost);
      hostLost.inc(pair, minute.hostLost ?? 0);
    }
  });
}
