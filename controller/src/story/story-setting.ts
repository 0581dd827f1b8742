import type { SiteTimers, StorySetting, StoryStream } from "@dyetrace/measure";
import { hostOfAgent, loadSitePlan, type SiteGraph } from "@dyetrace/site";
import type { RunOutline, StoryTable } from "@dyetrace/wire";
import { accessPointOf } from "../account/access-point-of.ts";

/** What is known of a run beside its agents' reports. */
export interface StoryRun {
  readonly runId: string;
  readonly outline: RunOutline;
  readonly startedAt: string | null;
  readonly isOver: boolean;
  readonly tables: readonly StoryTable[];
  /** Null but on a practice site. */
  readonly siteTimers: SiteTimers | null;
}

export function storySetting({ runId, outline, startedAt, isOver, tables, siteTimers }: StoryRun): StorySetting {
  const graph = loadSitePlan(outline.site.text, outline.site.file);
  return {
    run: runId,
    site: graph.name,
    scenario: outline.scenario,
    startedAt,
    isOver,
    hostOf: (agent) => hostOfAgent(graph, agent) ?? agent,
    portOf: (host) => snoopingPort(graph, host),
    queriers: queriersOf(graph),
    accessPointOf: (bssid) => accessPointOf(graph, bssid),
    siteTimers,
    tables,
  };
}

export const storyStreams = ({ streams }: RunOutline): StoryStream[] =>
  streams.map(({ streamId, name, source, group, payloadBytes, rateBps, longestPaceMs, emits }) => ({
    streamId,
    name,
    source,
    group,
    packetIntervalMs: longestPaceMs ?? (payloadBytes * 8000) / rateBps,
    emits,
  }));

/** Switches that the plan has as queriers; null where it names none. */
function queriersOf(graph: SiteGraph): ReadonlySet<string> | null {
  const named = [...graph.nodes.values()].flatMap(({ name, isQuerier }) => (isQuerier ? name : []));
  return named.length === 0 ? null : new Set(named);
}

/** The port of the first managed switch on a host's side: over whatever is unmanaged before it. */
function snoopingPort(graph: SiteGraph, host: string): string | null {
  const seen = new Set([host]);
  const open = [host];
  for (const node of open) {
    for (const { to } of graph.outgoing.get(node) ?? []) {
      const kind = graph.nodes.get(to.node)?.kind;
      if (kind === "switch" || kind === "router") return `${to.node}:${to.port}`;
      if (kind === "host" || kind === undefined || seen.has(to.node)) continue;
      seen.add(to.node);
      open.push(to.node);
    }
  }
  return null;
}
