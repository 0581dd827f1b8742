import { agentNames, checkScenarioAgainstSite, hasRadio, loadSitePlan, type SiteGraph } from "@dyetrace/site";
import {
  Fault,
  followsOthers,
  formatDurationNs,
  formatRateBps,
  formatRatio,
  loadScenario,
  type RunRequest,
  type Scenario,
  type ScenarioAction,
} from "@dyetrace/wire";
import type { RunAnswer, RunForecast } from "@dyetrace/wire/console/run-forecast";
import { airCautions } from "../plan/air-cautions.ts";
import { FOLLOWING_AHEAD, thoughtsBefore } from "../plan/cautions.ts";
import { checkPlan } from "../plan/check-plan.ts";
import { confirmationOf, heavyLoads } from "../plan/confirm-load.ts";
import { mistakesOf } from "./console-plan.ts";

/** What a run would do, need and load, in plain words; or what is wrong with its files. Nothing is sent. */
export function answerRun(request: RunRequest, connected: ReadonlySet<string>, isLive: boolean): RunAnswer {
  let of: "site" | "scenario" = "site";
  try {
    const graph = loadSitePlan(request.site.text, request.site.file);
    of = "scenario";
    const loaded = loadScenario(request.scenario.text, request.scenario.file, { parameters: request.parameters ?? {} });
    checkScenarioAgainstSite(loaded, graph);
    return { kind: "run", forecast: forecast(loaded.scenario, graph, connected, isLive) };
  } catch (error) {
    if (!(error instanceof Fault)) throw error;
    return { kind: "mistakes", of, mistakes: mistakesOf(error) };
  }
}

function forecast(scenario: Scenario, graph: SiteGraph, connected: ReadonlySet<string>, isLive: boolean): RunForecast {
  const check = checkPlan(graph, scenario);
  const needs = agentsNeeded(scenario, graph);
  return {
    scenario: scenario.name,
    about: scenario.about,
    lastsMs: scenario.durationNs / 1e6,
    steps: scenario.timeline.slice(0, MOST_STEPS).map((action) => ({
      atMs: action.atNs / 1e6,
      sentence: sayAction(action, scenario, agentNames(graph)),
    })),
    furtherSteps: Math.max(0, scenario.timeline.length - MOST_STEPS),
    expects: sayExpectations(scenario),
    needs,
    missing: needs.filter((agent) => !connected.has(agent)),
    loads: check.loads.map(({ segment, loadBps }) => ({
      segment,
      loadBps,
      speedBps: graph.segments.get(segment)?.link.speedBps ?? null,
    })),
    cautions: [
      ...check.groups.map(({ level, sentence, reference }) => ({ level, sentence, reference })),
      ...airCautions(graph, scenario),
      ...check.undecidable.map(({ sentence }) => ({ level: "warn" as const, sentence, reference: CLOPPER_PEARSON })),
    ],
    confirmation: isLive ? confirmationFor(graph, scenario) : null,
    thoughts: isLive ? thoughtsOf(scenario, hasRadio(graph)) : [],
  };
}

const thoughtsOf = (scenario: Scenario, hasWireless: boolean): readonly string[] =>
  followsOthers(scenario) ? [FOLLOWING_AHEAD] : thoughtsBefore(scenario.streams, hasWireless);

function confirmationFor(graph: SiteGraph, scenario: Scenario): string | null {
  const [heaviest] = heavyLoads(graph, scenario);
  return heaviest === undefined ? null : confirmationOf(heaviest);
}

/** Whose exact limits say how few packets are too few. */
const CLOPPER_PEARSON = "Clopper and Pearson, Biometrika 26, 1934";

/** Longer timelines are cut: nobody reads a thousand repeats. */
const MOST_STEPS = 60;

/** Agents with something to do; the others only watch. */
function agentsNeeded({ streams, timeline }: Scenario, graph: SiteGraph): string[] {
  const all = agentNames(graph);
  const needed = new Set<string>();
  for (const action of timeline) {
    const source = streams.find((stream) => stream.name === action.stream)?.source;
    if (action.kind === "watch" && action.agents === null) continue; // whoever is there
    if (action.kind === "join" || action.kind === "watch" || action.kind === "leave") {
      for (const agent of action.agents ?? all.filter((name) => name !== source)) needed.add(agent);
    } else if (source !== undefined) needed.add(source);
  }
  return all.filter((agent) => needed.has(agent));
}

/** @param all agents of the plan */
function sayAction(action: ScenarioAction, { streams }: Scenario, all: readonly string[]): string {
  const stream = streams.find(({ name }) => name === action.stream);
  const source = stream?.source ?? "the source";
  // Of a stream of others the sender has an agent only by chance.
  const whoever = (agents: readonly string[] | null): string =>
    who(agents, stream?.production === undefined || all.includes(source) ? source : null);
  const verb = (agents: readonly string[] | null, one: string, many: string): string =>
    agents === null || agents.length === 1 ? one : many;
  switch (action.kind) {
    case "emit": {
      if (stream === undefined) return `${source} sends ${action.stream}`;
      const packetsPerSecond = stream.rateBps / (stream.payloadBytes * 8);
      return `${source} sends ${stream.name} to ${stream.group} port ${stream.port}: ${formatRateBps(stream.rateBps)}, ${count(packetsPerSecond)} packets of ${stream.payloadBytes} B a second, TTL ${stream.ttl}`;
    }
    case "stop":
      return `${source} stops sending ${action.stream}`;
    case "join":
      return `${whoever(action.agents)} ${verb(action.agents, "joins", "join")} ${action.stream}`;
    case "watch":
      return `${whoever(action.agents)} ${verb(action.agents, "follows", "follow")} ${action.stream} where a program there has joined it, and joins nothing`;
    case "leave":
      return `${whoever(action.agents)} ${verb(action.agents, "leaves", "leave")} ${action.stream}`;
    case "set": {
      const parts = [
        ...(action.rateBps === null ? [] : [`at ${formatRateBps(action.rateBps)}`]),
        ...(action.payloadBytes === null ? [] : [`in packets of ${action.payloadBytes} B`]),
      ];
      return `${source} sends ${action.stream} ${parts.join(" ")} from now on`;
    }
  }
}

const count = (value: number): string => String(Number(value.toPrecision(3)));

/** @param source null: no agent's */
function who(agents: readonly string[] | null, source: string | null): string {
  if (agents === null) return source === null ? "Every agent" : `Every agent but ${source}`;
  return agents.length <= 6 ? listNames(agents) : `${agents.slice(0, 5).join(", ")} and ${agents.length - 5} more`;
}

const listNames = (names: readonly string[]): string =>
  names.length < 2 ? (names[0] ?? "Nobody") : `${names.slice(0, -1).join(", ")} and ${names.at(-1)}`;

const atMost = (what: string, ratio: number): string =>
  ratio === 0 ? `no ${what}` : `${what} at most ${formatRatio(ratio)}`;

function sayExpectations({ expect }: Scenario): string[] {
  const limits: (string | null)[] = [
    expect.lossRatio === null ? null : atMost("loss", expect.lossRatio),
    expect.longestGapNs === null ? null : `no gap longer than ${formatDurationNs(expect.longestGapNs)}`,
    expect.jitterNs === null ? null : `jitter at most ${formatDurationNs(expect.jitterNs)}`,
    expect.joinDelayNs === null ? null : `first packet within ${formatDurationNs(expect.joinDelayNs)} of a join`,
    expect.leaveDelayNs === null ? null : `last packet within ${formatDurationNs(expect.leaveDelayNs)} of a leave`,
    expect.duplicateRatio === null ? null : atMost("duplicates", expect.duplicateRatio),
    expect.reorderedRatio === null ? null : atMost("reordering", expect.reorderedRatio),
    expect.leaks === "none" ? "nobody sees what they did not join" : null,
  ];
  return limits.filter((limit) => limit !== null);
}
