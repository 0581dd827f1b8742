import type { FastifyInstance } from "fastify";
import { Counter, Gauge, Histogram, Registry } from "prom-client";
import { VERSION } from "../about/version.ts";
import type { AgentDoor } from "../access/agent-door.ts";
import type { OperatorTokens } from "../access/operator-tokens.ts";
import type { AgentRegistry } from "../agents/agent-registry.ts";
import type { AuditLog } from "../audit/audit-log.ts";
import type { ReportIntake } from "../intake/report-intake.ts";
import type { RunRegistry } from "../runs/run-registry.ts";

export interface MetricsSetup {
  readonly registry: AgentRegistry;
  readonly runs: RunRegistry;
  readonly intake: ReportIntake;
  readonly audit: AuditLog;
  readonly door: Pick<AgentDoor, "records">;
  readonly tokens: Pick<OperatorTokens, "list">;
}

interface Ending {
  readonly name: string;
  readonly until: string | null;
}

/** What is measured of the controller itself, for Prometheus, at /metrics. */
export function registerMetrics(
  app: FastifyInstance,
  { registry, runs, intake, audit, door, tokens }: MetricsSetup,
): void {
  const registers = [new Registry()];
  const [register] = registers;
  const counter = (name: string, help: string, labelNames: string[] = []): Counter =>
    new Counter({ name, help, labelNames, registers });
  const gauge = (name: string, help: string, read: (self: Gauge) => void): Gauge =>
    new Gauge({
      name,
      help,
      registers,
      collect() {
        read(this);
      },
    });

  /** What has no end is left out. */
  const ends = (name: string, help: string, label: string, read: () => readonly Ending[]): Gauge =>
    new Gauge({
      name,
      help,
      labelNames: [label],
      registers,
      collect() {
        this.reset();
        for (const one of read()) if (one.until !== null) this.set({ [label]: one.name }, Date.parse(one.until) / 1000);
      },
    });

  new Gauge({ name: "dyetrace_info", help: "The program's version", labelNames: ["version"], registers }).set(
    { version: VERSION },
    1,
  );
  gauge("dyetrace_agents_connected", "Agents that are connected", (self) => self.set(registry.list().length));
  gauge("dyetrace_runs_going_on", "Runs that are going on", (self) =>
    self.set(runs.list().filter((run) => run.isRunning).length),
  );
  gauge("dyetrace_store_in_trouble", "1 while the store takes no reports", (self) =>
    self.set(intake.isTroubled ? 1 : 0),
  );
  ends("dyetrace_agent_credential_end_timestamp_seconds", "When each agent's credential ends", "agent", () =>
    door.records.map(({ name, until = null }) => ({ name, until })),
  );
  ends("dyetrace_token_end_timestamp_seconds", "When each token ends", "token", () => tokens.list(Date.now()));
  gauge("process_resident_memory_bytes", "Resident memory", (self) => self.set(process.memoryUsage.rss()));
  gauge("process_cpu_seconds_total", "User and system CPU time", (self) => {
    const { user, system } = process.cpuUsage();
    self.set((user + system) / 1e6);
  });
  new Counter({
    name: "dyetrace_security_events_total",
    help: "Sign-ins, enrolments, and what was refused or dropped at the door",
    labelNames: ["event"],
    registers,
    collect() {
      this.reset();
      for (const [event, count] of audit.events) this.inc({ event }, count);
    },
  });
  const kept = counter("dyetrace_reports_kept_total", "Interval reports that were stored, each once");
  const packets = counter("dyetrace_packets_received_total", "Test packets that listeners reported");
  const lost = counter("dyetrace_packets_lost_total", "Test packets that listeners reported as lost in the network");
  const unusable = counter("dyetrace_reports_unusable_total", "Interval reports that could not be stored", ["agent"]);
  const finished = counter("dyetrace_runs_finished_total", "Runs that are over", ["verdict"]);
  const writing = new Histogram({
    name: "dyetrace_store_write_seconds",
    help: "Time to store a batch of reports",
    buckets: [0.001, 0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1, 5],
    registers,
  });

  intake.on("kept", ({ minutes }) => {
    kept.inc();
    for (const minute of minutes) {
      packets.inc(minute.received);
      lost.inc(minute.lost);
    }
  });
  intake.on("unusable", ({ name }, { firstNumber, lastNumber }) =>
    unusable.inc({ agent: name }, lastNumber - firstNumber + 1),
  );
  intake.on("wrote", (_reports, seconds) => writing.observe(seconds));
  runs.on("progress", (_runId, progress) => {
    if (progress.kind === "done") finished.inc({ verdict: progress.report.verdict });
    if (progress.kind === "failed") finished.inc({ verdict: "could-not-run" });
  });
  app.get("/metrics", { schema: { hide: true } }, async (_request, reply) =>
    reply.header("content-type", register?.contentType ?? "text/plain").send(await register?.metrics()),
  );
}
