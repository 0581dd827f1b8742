import { type FindingCauses, locate } from "@dyetrace/locate";
import type { SiteGraph } from "@dyetrace/site";
import type { ReportBystander, ReportCauses, ReportFinding, RunReport } from "@dyetrace/wire";
import type { Bystander } from "../account/bystanders.ts";
import type { RunAccount } from "../account/run-account.ts";
import type { Stay } from "../account/stays.ts";
import type { DeviceEvidence } from "../devices/evidence/device-evidence.ts";
import { observeRun } from "../observe/observe.ts";
import { packetsPerSecond, sendingStretches } from "../plan/sending-stretches.ts";
import { joinProbe } from "../probe/join-probe.ts";
import type { ProbedRun } from "../probe/probed-finding.ts";
import { followedDoubts, unplacedNotes } from "./followed-doubts.ts";
import { doubtUnseen, followedNotes } from "./followed-words.ts";
import { explainHostBlocks } from "./host-block-evidence.ts";
import { type HasDelay, judgeExpectations } from "./judge-expectations.ts";
import { judgeLeaks } from "./judge-leaks.ts";
import { judgeRun } from "./judge-run.ts";
import type { PacketRate } from "./judge-shares.ts";
import { doubtPlaces, placeStations } from "./place-stations.ts";
import { hasJoinDelay, hasLeaveDelay } from "./report-delays.ts";
import { reportHosts } from "./report-hosts.ts";
import { reportNotes, sourceNotes } from "./report-notes.ts";
import { querierNotes, reportQuerierAudit, reportQueriers } from "./report-queriers.ts";
import { reportReceipts } from "./report-receipts.ts";
import { reportStreams } from "./report-streams.ts";
import { reportRoams, reportWifi, roamNotes } from "./report-wifi.ts";

/**
 * Everything that a run brought to light, as the report that users and programs read. Pure.
 * @param probed where the run is a probe: what it was made for @param read what switches and routers said of it
 */
export function buildReport(
  account: RunAccount,
  plan: SiteGraph,
  probed: ProbedRun | null = null,
  read: DeviceEvidence | null = null,
): RunReport {
  const { graph, notes: placeNotes, unsure } = placeStations(account, plan);
  const { run, told, agents, stays } = account;
  const observations = { ...observeRun(account, graph), ...(read === null ? {} : { devices: read.observations }) };
  const conclusion = locate(graph, observations);
  const receipts = reportReceipts(account);
  const bystanders = account.bystanders.map(reportBystander);
  const found = conclusion.findings.map(({ streams, suspects, evidence: because, causes, ...finding }) => ({
    ...finding,
    ...(causes === undefined ? {} : { causes: reportCauses(causes) }),
    streams: [...streams],
    suspects: [...suspects],
    evidence: [...because],
  }));
  const own = doubtUnseen(explainHostBlocks(found, account, graph), account);
  const joined = probed === null ? null : joinProbe(probed, own, observations, graph);
  const findings = doubtPlaces(joined?.findings ?? own, unsure, graph);
  const flowsWrongly = wrongFlows(findings);
  // What still comes after a leave comes by right where nothing says otherwise, such as on the way to the querier.
  const judged = receipts.map((one) => (flowsWrongly.has(one.stream) ? one : { ...one, leaveDelayAtLeastMs: null }));
  const expectations = [
    ...judgeExpectations(run.scenario.expect, judged, hasDelayIn(stays, flowsWrongly), rateIn(account)),
    ...judgeLeaks(run.scenario.expect, findings, bystanders),
  ];
  const queriers = reportQueriers(account);
  const wifi = reportWifi(account, graph, receipts);
  const roams = reportRoams(account, graph);
  const lost = [...agents.values()].filter(({ ending }) => ending === null).map(({ agent }) => agent);
  return {
    formatVersion: 1,
    run: run.runId,
    site: graph.name,
    scenario: run.scenario.name,
    startedAt: told.startedAt.toISOString(),
    endedAt: told.endedAt.toISOString(),
    ...judgeRun(
      ...([findings, expectations, receipts, lost, told.isAborted, told.stopReason, told.stoppedBy] as const),
      followedDoubts(account, receipts, graph),
    ),
    streams: reportStreams(account),
    receipts,
    bystanders,
    queriers,
    querierAudit: reportQuerierAudit(conclusion.queriers, graph),
    segments: conclusion.segments.map((segment) => ({ ...segment })),
    findings: [...findings],
    ...(joined === null ? {} : { probe: joined.probe }),
    expectations,
    coverage: {
      ambiguousSets: conclusion.coverage.ambiguousSets.map((set) => [...set]),
      nextAgentAt: conclusion.coverage.nextAgentAt,
    },
    hosts: reportHosts(account),
    ...(read === null ? {} : { devices: [...read.devices] }),
    ...(wifi === null ? {} : { wifi }),
    ...(roams.length === 0 ? {} : { roams }),
    notes: [
      ...reportNotes(account),
      ...conclusion.remarks,
      ...querierNotes(queriers),
      ...sourceNotes(account),
      ...followedNotes(account),
      ...unplacedNotes(account, graph),
      ...placeNotes,
      ...roamNotes(roams, graph),
    ],
  };
}

const reportCauses = ({ payloadBytes, silent, elements }: FindingCauses): ReportCauses => ({
  payloadBytes,
  silent: silent.map((pair) => ({ ...pair })),
  elements: elements.map((element) => ({ ...element })),
});

const reportBystander = ({ stream, agent, canSee, frames, firstNs, lastNs, ranges }: Bystander): ReportBystander => ({
  stream,
  agent,
  frames: canSee ? frames : null,
  firstMs: firstNs === null ? null : firstNs / 1e6,
  lastMs: lastNs === null ? null : lastNs / 1e6,
  ranges: ranges.map(([first, last]): [number, number] => [first, last]),
});

/** As planned. */
function rateIn({ run }: RunAccount): PacketRate {
  const streams = new Map(run.streams.map((stream) => [stream.name, stream]));
  return (name) => {
    const stream = streams.get(name);
    return stream === undefined ? null : packetsPerSecond(sendingStretches(run, stream));
  };
}

function hasDelayIn(stays: readonly Stay[], flowsWrongly: ReadonlySet<string>): HasDelay {
  return ({ stream, listener }, what) => {
    const own = stays.filter(({ join }) => join.stream === stream && join.agent === listener);
    return what === "join" ? hasJoinDelay(own) : hasLeaveDelay(own, flowsWrongly.has(stream));
  };
}

/** Streams that came where they should not, or for longer. */
const wrongFlows = (findings: readonly Pick<ReportFinding, "kind" | "streams">[]): ReadonlySet<string> =>
  new Set(findings.flatMap(({ kind, streams }) => (kind === "leaks" || kind === "slow-leave" ? streams : [])));
