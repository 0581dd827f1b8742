import type { IntervalReport, WatcherReport } from "@dyetrace/wire";
import type { AgentEvidence, RunEvidence } from "../account/run-evidence.ts";
import { LONG_RUN_NS } from "../account/run-evidence.ts";
import { sourceBreaks } from "../account/source-breaks.ts";
import { joinBodies } from "../intake/join-bodies.ts";
import type { CompiledRun } from "../plan/compiled-run.ts";
import type { ReportBody } from "../store/pack/kept-report.ts";
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
): Promise<Pick<AgentEvidence, "agent" | "reports" | "watch" | "final" | "sourceBreaks">> {
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
  const begunAnew = streamsBegunAnew(bodies);
  const reports = bodies.map(({ body }) => withoutSending(body.report, begunAnew));
  const watch = bodies.flatMap(({ body }): WatcherReport[] => (body.watch === null ? [] : [body.watch]));
  const last = reports.at(-1);
  // A run that was stopped ends everybody's part early; else a part that ends early is followed by another.
  const hasEnded = last !== undefined && last.totals !== null && (isStopped || last.toNs >= run.endNs - 1e9);
  const breaks = sourceBreaks(bodies.map(({ stint, body }) => ({ stint, report: body.report })));
  return { agent, reports, watch, final: hasEnded ? withAllTotals(last, reports) : null, sourceBreaks: breaks };
}

/** Streams that more than one piece of work sent. */
function streamsBegunAnew(
  bodies: readonly { readonly stint: string; readonly body: ReportBody }[],
): ReadonlySet<number> {
  const stintOf = new Map<number, string>();
  const begunAnew = new Set<number>();
  for (const { stint, body } of bodies) {
    for (const { streamId, sentPackets } of body.report.senders) {
      if (sentPackets === 0) continue;
      if ((stintOf.get(streamId) ?? stint) !== stint) begunAnew.add(streamId);
      stintOf.set(streamId, stint);
    }
  }
  return begunAnew;
}

/** A piece of work that followed another knows nothing of the streams that only the one before it sent. */
function withAllTotals(last: IntervalReport, reports: readonly IntervalReport[]): IntervalReport {
  if (last.totals === null) return last;
  const told = reports.flatMap(({ totals }) => totals?.senders ?? []).filter(({ sentPackets }) => sentPackets > 0);
  const senders = new Map([...last.totals.senders, ...told].map((one) => [one.streamId, one]));
  return { ...last, totals: { ...last.totals, senders: [...senders.values()] } };
}

/**
 * A source that was restarted numbers its packets from 0 again, so its counts don't make one row: what it sent of a stream
 * before and after is told stretch by stretch, and not known as a whole.
 */
const withoutSending = (report: IntervalReport, begunAnew: ReadonlySet<number>): IntervalReport =>
  begunAnew.size === 0
    ? report
    : {
        ...report,
        senders: report.senders.filter(({ streamId }) => !begunAnew.has(streamId)),
        totals:
          report.totals === null
            ? null
            : { ...report.totals, senders: report.totals.senders.filter(({ streamId }) => !begunAnew.has(streamId)) },
      };
