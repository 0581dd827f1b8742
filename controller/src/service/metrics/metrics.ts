import type { RunSummary } from "@dyetrace/wire/console/stored-run";
import type { FastifyInstance } from "fastify";
import { Counter, Gauge, Histogram, Registry } from "prom-client";
import { VERSION } from "../../about/version.ts";
import type { AgentDoor } from "../../access/agent-door.ts";
import type { OperatorTokens } from "../../access/operator-tokens.ts";
import type { AgentRegistry } from "../../agents/agent-registry.ts";
import type { AuditLog } from "../../audit/audit-log.ts";
import type { ReportIntake } from "../../intake/report-intake.ts";
import type { RunRegistry } from "../../runs/run-registry.ts";
import { BoundedLabels } from "./bounded-labels.ts";
import { countListeners } from "./listener-metrics.ts";
import { LastVerdicts } from "./scenario-metrics.ts";

export interface MetricsSetup {
  readonly registry: AgentRegistry;
  readonly runs: RunRegistry;
  readonly intake: ReportIntake;
  readonly audit: AuditLog;
  readonly door: Pick<AgentDoor, "records">;
  readonly tokens: Pick<OperatorTokens, "list">;
  /** The newest runs that are stored. */
  readonly stored: () => Promise<readonly RunSummary[]>;
}

interface Ending {
  readonly name: string;
  readonly until: string | null;
}

/** Agents with a count of their own. */
const MOST_AGENTS = 1000;

/**
 * What is measured, for collectors, at /metrics: named and typed by the conventions of OpenMetrics 1.0. deploy/metrics/README.md
 * tells each, and the bounds of its labels.
 */
export function registerMetrics(
  app: FastifyInstance,
  { registry, runs, intake, audit, door, tokens, stored }: MetricsSetup,
): void {
  const register = new Registry();
  const registers = [register];
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
  new Counter({
    name: "process_cpu_seconds_total",
    help: "User and system CPU time",
    registers,
    collect() {
      const { user, system } = process.cpuUsage();
      this.reset();
      this.inc((user + system) / 1e6);
    },
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
  const agents = new BoundedLabels(["agent"], MOST_AGENTS);
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
    unusable.inc(agents.of({ agent: name }), lastNumber - firstNumber + 1),
  );
  intake.on("wrote", (_reports, seconds) => writing.observe(seconds));
  runs.on("progress", (_runId, progress) => {
    if (progress.kind === "done") finished.inc({ verdict: progress.report.verdict });
    if (progress.kind === "failed")
      finished.inc({ verdict: progress.code === "RUN_CANCELLED" ? "cancelled" : "could-not-run" });
  });
  countListeners(register, runs, intake);
  const verdicts = new LastVerdicts(register);
  verdicts.follow(runs);
  let isFilled = false;
  app.get("/metrics", { schema: { hide: true } }, async (_request, reply) => {
    if (!isFilled) {
      // With the store away the rest is told all the same, and this the next time.
      for (const run of await stored().catch(() => [])) {
        isFilled = true;
        const { site, scenario, verdict, endedAt } = run;
        if (verdict !== null && endedAt !== null)
          verdicts.note({ site, scenario, verdict, endedMs: Date.parse(endedAt) });
      }
    }
    return reply.header("content-type", register.contentType).send(await register.metrics());
  });
}
