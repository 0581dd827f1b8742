import { locate } from "@dyetrace/locate";
import type { SiteGraph } from "@dyetrace/site";
import { formatDurationNs, type ReportStream, type RunReport } from "@dyetrace/wire";
import { impossibleReceptions } from "../observe/impossible-reception.ts";
import { observeRun } from "../observe/observe.ts";
import { observeBystanders } from "../observe/observe-bystanders.ts";
import type { RunEvidence } from "../observe/run-evidence.ts";
import { type Stay, staysOf } from "../observe/stays.ts";
import { emissionOf } from "../observe/stream-evidence.ts";
import type { CompiledRun } from "../plan/compiled-run.ts";
import { explainHostBlocks } from "./host-block-evidence.ts";
import { type HasDelay, judgeExpectations } from "./judge-expectations.ts";
import { judgeLeaks } from "./judge-leaks.ts";
import { judgeRun } from "./judge-run.ts";
import { hasJoinDelay, hasLeaveDelay } from "./report-delays.ts";
import { querierNotes, reportQueriers } from "./report-queriers.ts";
import { reportReceipts } from "./report-receipts.ts";

/** Everything that a run brought to light, as the report that users and programs read. Pure. */
export function buildReport(run: CompiledRun, graph: SiteGraph, evidence: RunEvidence): RunReport {
  const stays = staysOf(run, evidence);
  const observations = observeRun(run, graph, evidence, stays);
  const conclusion = locate(graph, observations);
  const receipts = reportReceipts(stays, evidence, observations.listeners);
  const bystanders = observeBystanders(run, graph, evidence).map((seen) => ({
    stream: seen.stream,
    agent: graph.nodes.get(seen.host)?.agent ?? seen.host,
    frames: seen.canSee ? seen.frames : null,
    firstMs: seen.firstMs,
    lastMs: seen.lastMs,
    ranges: seen.ranges.map(([first, last]): [number, number] => [first, last]),
  }));
  const found = conclusion.findings.map(({ streams, suspects, evidence: because, ...finding }) => ({
    ...finding,
    streams: [...streams],
    suspects: [...suspects],
    evidence: [...because],
  }));
  const findings = explainHostBlocks(found, run, graph, evidence);
  const expectations = [
    ...judgeExpectations(run.scenario.expect, receipts, hasDelayIn(stays)),
    ...judgeLeaks(run.scenario.expect, findings, bystanders),
  ];
  const queriers = reportQueriers(evidence);
  const lost = [...evidence.agents.values()].filter((agent) => agent.final === null).map((agent) => agent.agent);
  return {
    formatVersion: 1,
    run: run.runId,
    site: graph.name,
    scenario: run.scenario.name,
    startedAt: evidence.startedAt.toISOString(),
    endedAt: evidence.endedAt.toISOString(),
    ...judgeRun(findings, expectations, receipts, lost, evidence.isAborted),
    streams: run.streams.map((stream) => reportStream(stream, evidence)),
    receipts,
    bystanders,
    queriers,
    segments: conclusion.segments.map((segment) => ({ ...segment })),
    findings,
    expectations,
    coverage: {
      ambiguousSets: conclusion.coverage.ambiguousSets.map((set) => [...set]),
      nextAgentAt: conclusion.coverage.nextAgentAt,
    },
    notes: [
      ...notesOf(evidence),
      ...impossibleReceptions(run, evidence),
      ...querierNotes(queriers),
      ...sourceNotes(run, evidence),
    ],
  };
}

function hasDelayIn(stays: readonly Stay[]): HasDelay {
  return ({ stream, listener }, what) => {
    const own = stays.filter(({ join }) => join.stream === stream && join.agent === listener);
    return what === "join" ? hasJoinDelay(own) : hasLeaveDelay(own);
  };
}

function reportStream(stream: CompiledRun["streams"][number], evidence: RunEvidence): ReportStream {
  const { name, source, group, port, rateBps, payloadBytes, ttl, dscp } = stream;
  const emission = emissionOf(evidence, source, stream.streamId);
  const first = emission?.intervals[0];
  const last = emission?.intervals.at(-1);
  const onNs = first === undefined || last === undefined ? 0 : last.toNs - first.fromNs;
  const sentBytes = emission?.sentBytes ?? null;
  return {
    name,
    source,
    group,
    port,
    rateBps,
    payloadBytes,
    ttl,
    dscp,
    sent: emission?.sentPackets ?? null,
    sentRateBps: sentBytes === null || onNs <= 0 ? null : (sentBytes * 8e9) / onNs,
    sendErrors: emission?.sendErrors ?? null,
    pacingP999Ms: emission?.pacing == null ? null : emission.pacing.p999Ns / 1e6,
    pacingMaxMs: emission?.pacing == null ? null : emission.pacing.maxNs / 1e6,
  };
}

function notesOf(evidence: RunEvidence): string[] {
  const notes = evidence.stopReason === null ? [] : [`Stopped for safety: ${evidence.stopReason}.`];
  for (const { agent, final, lostAtNs, troubles } of evidence.agents.values()) {
    if (final === null) {
      const when = lostAtNs === null ? "" : `, ${(lostAtNs / 1e9).toFixed(1)} s after the start`;
      notes.push(`The agent ${agent} was lost${when} and never reported in full: what it received is not known.`);
    }
    for (const trouble of troubles) notes.push(`${agent}: ${trouble}`);
  }
  if (evidence.absent.length > 0)
    notes.push(`Not connected, so nothing was watched there: ${evidence.absent.join(", ")}.`);
  return notes;
}

const NOTED_PAUSE_NS = 50e6;

/** What a source could not do as planned: the reader must not take it for the network's. */
function sourceNotes(run: CompiledRun, evidence: RunEvidence): string[] {
  return run.streams.flatMap((stream) => {
    const emission = emissionOf(evidence, stream.source, stream.streamId);
    if (emission === null) return [];
    const notes: string[] = [];
    if (emission.skippedPackets > 0) {
      const what = `${emission.skippedPackets} packets of ${stream.name}`;
      notes.push(`${stream.source} was too busy to send ${what} in time and left them out: a gap in time, no loss.`);
    }
    const pauseNs = Math.max(0, ...emission.stalls.map((stall) => stall.durationNs));
    if (pauseNs >= NOTED_PAUSE_NS) {
      notes.push(`${stream.source} paused ${stream.name} for up to ${formatDurationNs(pauseNs)}: its host was busy.`);
    }
    if (emission.sendErrors > 0) {
      const last = emission.lastError === null ? "" : ` (last: ${emission.lastError})`;
      notes.push(`${stream.source} met ${emission.sendErrors} send errors on ${stream.name}${last}.`);
    }
    return notes;
  });
}
