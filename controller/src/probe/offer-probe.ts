import { chooseProbe, type Probe, type ProbeTask, wantedAgent } from "@dyetrace/locate";
import type { SiteGraph } from "@dyetrace/site";
import { Fault, followsOthers, type RunReport, type RunRequest } from "@dyetrace/wire";
import type { ProbeOffer } from "@dyetrace/wire/console/probe-offer";
import { hostsOf, maySend, type ProbeAgent, spareGroup } from "./probe-agents.ts";
import { probeRateBps, sayProbe, writeProbeScenario } from "./probe-scenario.ts";
import { isProbeable, type ProbedRun, probedFinding } from "./probed-finding.ts";

export interface ProbeQuestion {
  readonly report: RunReport;
  readonly request: RunRequest;
  readonly graph: SiteGraph;
  readonly agents: readonly ProbeAgent[];
  /** The finding's place in the report's list; null: the first one that a probe may part. */
  readonly finding: number | null;
}

/** Less than this is no gain. */
const NOTHING = 1e-6;

/** The probe that parts a finding's suspects best, as a run that can be started. Pure. @throws {Fault} OPTION_INVALID */
export function offerProbe({ report, request, graph, agents, finding }: ProbeQuestion): ProbeOffer {
  if (finding !== null && finding >= report.findings.length) {
    throw new Fault(
      "OPTION_INVALID",
      `Run ${report.run} has ${report.findings.length} findings, so there is no number ${finding + 1}`,
      "`dyetrace report RUN` shows them in their order",
    );
  }
  const index = finding ?? report.findings.findIndex(isProbeable);
  const probed = index < 0 ? null : probedFinding(report, index, request, graph);
  if (probed === null) return refused(report, finding);
  const about = { finding: index, title: probed.finding.title, suspects: [...probed.suspects] };
  if (followsOthers(probed)) {
    return { ...NO_OFFER, ...about, refusal: OF_OTHERS };
  }
  const task = taskOf(probed, graph, agents, request);
  const probe = chooseProbe(graph, task);
  if (probe === null) {
    return { ...NO_OFFER, ...about, refusal: cannotRepeat(probed, task) };
  }
  const wanted = wantedAgent(graph, task, probe);
  const [like] = probed.streams;
  const isOfUse = probe.expectedSuspects < probed.suspects.length - NOTHING && like !== undefined;
  return {
    ...NO_OFFER,
    ...about,
    wantedAgentAt: wanted?.beside ?? null,
    ...(isOfUse ? startable(probed, probe, graph, request) : { refusal: partsNone(wanted?.beside ?? null) }),
  };
}

/** Whoever owns the group has agreed to no test traffic in it, and its viewers would see it. */
const OF_OTHERS =
  "What failed is a stream of others, and a probe would send test traffic to its group. Run `reach` between the same hosts in a group of your own, and take the probe from that run";

const NO_OFFER = {
  request: null,
  refusal: null,
  expectedSuspects: null,
  mostSuspects: null,
  wantedAgentAt: null,
  sends: [],
  tells: [],
} as const;

function refused({ findings }: RunReport, finding: number | null): ProbeOffer {
  const asked = finding === null ? undefined : findings[finding];
  const refusal =
    asked === undefined
      ? "No finding of this run has several suspects that a short run could part"
      : asked.suspects.length < 2
        ? "This finding has no two suspects to tell apart"
        : "A short run can't tell these suspects apart: the finding rests on a time or a rate that it would not have, or the report is of an earlier version";
  return { ...NO_OFFER, finding, title: asked?.title ?? "", suspects: [...(asked?.suspects ?? [])], refusal };
}

function taskOf(probed: ProbedRun, graph: SiteGraph, agents: readonly ProbeAgent[], request: RunRequest): ProbeTask {
  const { suspects, causes, silent, streams } = probed;
  const [like] = streams;
  const rateBps = probeRateBps(causes.payloadBytes);
  const sending = (group: string): readonly ProbeAgent[] =>
    like === undefined ? [] : agents.filter((agent) => maySend(agent, like, group, rateBps));
  const senders = sending(like?.group ?? "");
  const spare = like === undefined ? null : spareGroup(like, groupsIn(request.scenario.text));
  const isSpareFit = spare !== null && sending(spare).length === senders.length;
  return {
    suspects,
    causes,
    silent: silent.filter(({ group }) => group === like?.group),
    hosts: hostsOf(agents, graph),
    senders: hostsOf(senders, graph),
    spareGroup: isSpareFit ? spare : null,
  };
}

/** Every group that the scenario's text names, whatever it is for. */
const groupsIn = (text: string): string[] => text.match(/[0-9a-f.:]{6,}/gi) ?? [];

function startable(
  { runId, index, finding, suspects, streams }: ProbedRun,
  probe: Probe,
  graph: SiteGraph,
  request: RunRequest,
): Partial<ProbeOffer> {
  const [like] = streams;
  if (like === undefined) return {};
  const about = `Parts the suspects of run ${runId}: ${finding.title}`;
  const text = writeProbeScenario(probe, like, graph, about);
  const average = Number(probe.expectedSuspects.toFixed(1));
  return {
    request: { site: request.site, scenario: { file: "probe.yaml", text }, probeOf: { run: runId, finding: index } },
    expectedSuspects: probe.expectedSuspects,
    mostSuspects: probe.mostSuspects,
    sends: sayProbe(probe),
    tells: [
      `Of ${suspects.length} suspects it leaves ${average} on average, and ${probe.mostSuspects} at most, if one of them is to blame and the fault is still there`,
      "If what failed comes through now, the fault is gone or comes and goes, and the suspects stay as they are",
    ],
  };
}

function cannotRepeat({ silent }: ProbedRun, { hosts, senders }: ProbeTask): string {
  const source = silent[0]?.source ?? "";
  if (!hosts.includes(source))
    return `${source}, from which the stream came, is not connected, so what failed can't be repeated`;
  if (!senders.includes(source))
    return `${source} may not send this by its own host's guards, so what failed can't be repeated`;
  return "No agent that got nothing is connected, so what failed can't be repeated";
}

const partsNone = (beside: string | null): string =>
  beside === null
    ? "No source, listener, size or group of these agents parts the suspects, and one more agent would not either"
    : `No source, listener, size or group of these agents parts the suspects; one more agent beside ${beside}, sending and listening, would`;
