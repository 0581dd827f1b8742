import type { IntervalReport, WatcherReport } from "@dyetrace/wire";
import type { AgentEvidence, RunEvidence } from "../account/run-evidence.ts";
import { LONG_RUN_NS } from "../account/run-evidence.ts";
import { joinBodies } from "../intake/join-bodies.ts";
import type { CompiledRun } from "../plan/compiled-run.ts";
import type { ReportBody } from "../store/kept-report.ts";
import type { Store } from "../store/store.ts";

/** Neighbouring reports of a long run are put together up to this length: a night of them has to fit in memory. */
const STRETCH_NS = 600e9;

/** The evidence of a run with everything that the store has of it, whoever died in between. */
export async function storedEvidence(store: Store, run: CompiledRun, told: RunEvidence): Promise<RunEvidence> {
  if (told.isComplete) return told;
  const agents = new Map<string, AgentEvidence>();
  for (const [agent, one] of told.agents) {
    if (one.isDoubted === true) {
      agents.set(agent, one);
      continue;
    }
    agents.set(agent, { ...(await evidenceOf(store, run, agent, told.isAborted)), ...factsOf(told.agents.get(agent)) });
  }
  return { ...told, agents, isComplete: true };
}

/** What is known of an agent beside its reports. */
const factsOf = (one: AgentEvidence | undefined): Pick<AgentEvidence, "clock" | "lostAtNs" | "troubles"> => ({
  clock: one?.clock ?? null,
  lostAtNs: one?.lostAtNs ?? null,
  troubles: one?.troubles ?? [],
});

async function evidenceOf(
  store: Store,
  run: CompiledRun,
  agent: string,
  isStopped: boolean,
): Promise<Pick<AgentEvidence, "agent" | "reports" | "watch" | "final">> {
  const stretchNs = run.endNs > LONG_RUN_NS ? STRETCH_NS : 0;
  const bodies: { stint: string; body: ReportBody }[] = [];
  for await (const { stint, report, watch } of store.reports.ofAgent(run.runId, agent)) {
    const body = { report, watch };
    const before = bodies.at(-1);
    const isFit = before?.stint === stint && report.toNs - before.body.report.fromNs <= stretchNs;
    const both = isFit && before !== undefined ? joinBodies(before.body, body) : null;
    if (both === null) bodies.push({ stint, body });
    else bodies.splice(-1, 1, { stint, body: both });
  }
  const senders = new Set(
    bodies.flatMap(({ stint, body }) => body.report.senders.flatMap((one) => (one.sentPackets > 0 ? stint : []))),
  );
  const isSourceBroken = senders.size > 1;
  const reports = bodies.map(({ body }) => (isSourceBroken ? withoutSending(body.report) : body.report));
  const watch = bodies.flatMap(({ body }): WatcherReport[] => (body.watch === null ? [] : [body.watch]));
  const last = reports.at(-1);
  // A run that was stopped ends everybody's part early; else a part that ends early is followed by another.
  const hasEnded = last !== undefined && last.totals !== null && (isStopped || last.toNs >= run.endNs - 1e9);
  return { agent, reports, watch, final: hasEnded ? last : null };
}

/**
 * A source that was restarted numbers its packets from 0 again, so its counts don't make one row: what it sent is told
 * stretch by stretch, and not known as a whole.
 */
const withoutSending = (report: IntervalReport): IntervalReport => ({
  ...report,
  senders: [],
  totals: report.totals === null ? null : { ...report.totals, senders: [] },
});
