import { type Coverage, coverage } from "@dyetrace/locate";
import {
  agentNames,
  type GroupAdvice,
  hostOfAgent,
  lintGroups,
  pathsBetween,
  querierOf,
  queriersOf,
  routerHops,
  type SiteGraph,
  segmentLoads,
} from "@dyetrace/site";
import type { Scenario } from "@dyetrace/wire";
import { type AirCaution, airCautions } from "./air-cautions.ts";
import { burstsAhead } from "./bursts-ahead.ts";
import { peakStreams } from "./confirm-load.ts";
import { type LimitOutlook, undecidableLimits } from "./limit-outlook.ts";
import { overloadOf, sayOverload } from "./overload.ts";
import { placeStreams } from "./place-streams.ts";

export interface PlanCheck {
  readonly site: string;
  readonly nodes: number;
  readonly agents: number;
  /** The node that queries; `isAssumed` when the plan does not say. */
  readonly querier: {
    readonly node: string;
    readonly isAssumed: boolean;
  } | null;
  /** Those of other VLANs that the plan names. */
  readonly furtherQueriers: readonly string[];
  readonly groups: readonly GroupAdvice[];
  /** Segments that the scenario loads, heaviest share first. */
  readonly loads: readonly {
    readonly segment: string;
    readonly loadBps: number;
    readonly utilisationRatio: number | null;
  }[];
  /** What the scenario costs on the air of the access points. */
  readonly air: readonly AirCaution[];
  /** Why no run of the scenario begins on this plan, in one sentence: a link would carry more than it can; null: none would. */
  readonly overload: string | null;
  /** What test traffic may follow a run of the scenario, in one sentence; null: none. */
  readonly bursts: string | null;
  /** Expectations that the scenario sends too few packets to decide. */
  readonly undecidable: readonly LimitOutlook[];
  /** Where the traffic of the scenario's sources (without one: of the first agent) shows which segment is at fault. */
  readonly coverage: Coverage;
  /** Nodes of the plan. */
  readonly sources: readonly string[];
  /** Streams of others of which the plan does not have the sender: what the run tests by them is not known before they are seen. */
  readonly unplaced: readonly string[];
}

/** What is doubtful about the scenario's groups on this site. Pure. */
export const adviseGroups = (graph: SiteGraph, scenario: Scenario): GroupAdvice[] =>
  lintGroups(
    placeStreams(graph, scenario).map(({ name, group, ttl, production, isSourceSpecific, source, listeners }) => ({
      name,
      group,
      ttl: production === undefined ? ttl : null,
      isSourceSpecific,
      mostRouters: Math.max(0, ...listeners.map((host) => routersBetween(graph, source, host))),
    })),
  );

/** What can be said of a plan before anything is sent. Pure. */
export function checkPlan(graph: SiteGraph, scenario: Scenario | null): PlanCheck {
  const agents = agentNames(graph);
  const hosts = agents.flatMap((agent) => hostOfAgent(graph, agent) ?? []);
  const streams = scenario === null ? [] : placeStreams(graph, scenario);
  const unplaced = streams.filter(({ source }) => !graph.nodes.has(source)).map(({ name }) => name);
  const placed = streams.flatMap(({ source }) => (graph.nodes.has(source) ? [source] : []));
  const sources = scenario === null ? hosts.slice(0, 1) : [...new Set(placed)];
  const listeners = scenario === null ? hosts.slice(1) : [...new Set(streams.flatMap((stream) => stream.listeners))];
  const over = scenario === null ? null : overloadOf(graph, scenario);
  const querier = querierOf(graph, sources[0] ?? hosts[0] ?? "");
  return {
    site: graph.name,
    nodes: graph.nodes.size,
    agents: agents.length,
    querier,
    furtherQueriers: queriersOf(graph, sources[0] ?? hosts[0] ?? "").flatMap(({ node }) =>
      node === querier?.node ? [] : [node],
    ),
    groups: scenario === null ? [] : adviseGroups(graph, scenario),
    loads: segmentLoads(graph, scenario === null ? [] : peakStreams(graph, scenario))
      .map(({ segment, loadBps, utilisationRatio }) => ({
        segment: segment.id,
        loadBps,
        utilisationRatio,
      }))
      .sort((a, b) => (b.utilisationRatio ?? 0) - (a.utilisationRatio ?? 0) || b.loadBps - a.loadBps),
    air: scenario === null ? [] : airCautions(graph, scenario),
    overload: over === null ? null : sayOverload(over)[0],
    bursts: scenario?.sendsBursts === true ? burstsAhead(graph) : null,
    undecidable: scenario === null ? [] : undecidableLimits(scenario, graph),
    coverage: coverage(graph, sources, listeners),
    sources,
    unplaced,
  };
}

/** On the longest of the ways that the routers may equally choose; 0 where none leads there. */
const routersBetween = (graph: SiteGraph, from: string, to: string): number =>
  Math.max(0, ...pathsBetween(graph, from, to).map((way) => routerHops(graph, way)));
