import { buildSiteGraph, hostOfAgent, type SiteGraph, type SiteLink } from "@dyetrace/site";
import type { ReportFinding } from "@dyetrace/wire";
import { accessPointOf } from "../account/access-point-of.ts";
import type { RunAccount } from "../account/run-account.ts";

/** The plan with stations where they were, and what is to be said of them. */
export interface PlacedStations {
  readonly graph: SiteGraph;
  readonly notes: readonly string[];
  /** Hosts whose place held for a part of the run only, or is not known. */
  readonly unsure: ReadonlySet<string>;
}

/**
 * A station that was at one access point all through the run, by the BSSID that its kernel told, is worked with there, wherever
 * the plan has it. Where its BSSID is none of the plan's, or its VLAN does not reach there, its place is not known, and a
 * note says so. Stations that roamed stay where the plan has them (`roamNotes` tells of them). Pure.
 */
export function placeStations({ agents }: RunAccount, graph: SiteGraph): PlacedStations {
  const notes: string[] = [];
  const moved = new Map<number, SiteLink>();
  const unsure = new Set<string>();
  for (const { agent, wifi } of agents.values()) {
    const bssids = new Set(wifi.flatMap(({ bssid }) => bssid ?? []));
    const [bssid] = bssids;
    const host = hostOfAgent(graph, agent);
    const link = host === null ? null : linkToAccessPoint(graph, host);
    if (bssid === undefined || host === null || link === null) continue;
    if (bssids.size > 1) {
      unsure.add(host);
      continue;
    }
    const planned = otherEnd(link, host);
    const seen = accessPointOf(graph, bssid);
    if (seen === planned) continue;
    if (seen === null) {
      if (graph.nodes.get(planned)?.bssids !== undefined) {
        unsure.add(host);
        notes.push(
          `${agent} was at ${bssid}, which is none of ${planned}'s and of nobody else in the plan: its place is not known.`,
        );
      }
      continue;
    }
    if (!carriesAll(graph, seen, link.vlans ?? [])) {
      unsure.add(host);
      notes.push(
        `${agent} was at ${seen}, which the plan does not have in VLAN ${link.vlans?.join(", ")}: its place is not known.`,
      );
      continue;
    }
    notes.push(
      `${agent} was at ${seen} in this run (${bssid}), not at ${planned} as planned, and is worked with there.`,
    );
    const own = link.a.node === host ? link.a : link.b;
    const port = [link.a.node === host ? link.b.port : link.a.port, host].find((name) =>
      isFree(graph, moved, seen, name),
    );
    const there = { node: seen, port: port ?? `${host}-air` };
    moved.set(link.index, { ...link, a: there, b: own });
  }
  if (moved.size === 0) return { graph, notes, unsure };
  const links = graph.links.map((link) => moved.get(link.index) ?? link);
  return { graph: buildSiteGraph(graph.name, [...graph.nodes.values()], links, graph.vlans ?? null), notes, unsure };
}

const otherEnd = ({ a, b }: SiteLink, node: string): string => (a.node === node ? b.node : a.node);

const linkToAccessPoint = (graph: SiteGraph, host: string): SiteLink | null =>
  (graph.outgoing.get(host) ?? []).find(({ to }) => graph.nodes.get(to.node)?.kind === "access-point")?.link ?? null;

const carriesAll = (graph: SiteGraph, accessPoint: string, vlans: readonly number[]): boolean =>
  vlans.every((vlan) => (graph.outgoing.get(accessPoint) ?? []).some(({ link }) => link.vlans?.includes(vlan)));

const isFree = (graph: SiteGraph, moved: ReadonlyMap<number, SiteLink>, node: string, port: string): boolean =>
  ![...graph.links, ...moved.values()].some(({ a, b }) => [a, b].some((end) => end.node === node && end.port === port));

/** Findings that rest on a place that is in doubt are no surer than this (common practice, no source). */
const MOST_SURE = 0.8;

/** What is said of an unsure station, its link or its access point is said with less confidence, and why. */
export function doubtPlaces(
  findings: readonly ReportFinding[],
  unsure: ReadonlySet<string>,
  graph: SiteGraph,
): ReportFinding[] {
  const doubtful = new Map<string, string>();
  for (const host of unsure) {
    doubtful.set(host, host);
    for (const { id, to, link } of graph.outgoing.get(host) ?? []) {
      for (const place of [id, `${to.node}:${to.port}>${host}:${otherPort(link, to.node)}`, to.node])
        doubtful.set(place, host);
    }
  }
  return findings.map((finding) => {
    const hosts = new Set(finding.suspects.flatMap((suspect) => doubtful.get(suspect.split(" ")[0] ?? "") ?? []));
    if (hosts.size === 0 || finding.confidence <= MOST_SURE) return finding;
    const because = `Where ${[...hosts].join(", ")} was on the air is not sure, and this rests on it.`;
    return { ...finding, confidence: MOST_SURE, evidence: [...finding.evidence, because] };
  });
}

const otherPort = ({ a, b }: SiteLink, node: string): string => (a.node === node ? b.port : a.port);
