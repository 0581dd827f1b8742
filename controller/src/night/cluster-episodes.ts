import type { SiteGraph } from "@dyetrace/site";
import type { ReportIncident } from "@dyetrace/wire";
import type { CompiledRun } from "../plan/compiled-run.ts";
import type { Episode } from "../store/kept-report.ts";
import { incidentFacts } from "./incident-facts.ts";
import { INCIDENT_KINDS, type IncidentKind } from "./incident-kinds.ts";
import { LossCauses } from "./loss-causes.ts";
import { lossIncidents } from "./loss-incidents.ts";
import { steadyIncidents } from "./steady-incidents.ts";
import { SteadyLosses } from "./steady-loss.ts";
import { tellIncident } from "./tell-incident.ts";
import { TOGETHER_NS } from "./together.ts";
import type { Witnesses } from "./witnesses.ts";

/** Of more, the worst are told, and the others' places are not asked for. */
const MOST_CLUSTERS = 500;

/** Episodes of one kind and one time. */
interface Cluster {
  readonly kind: IncidentKind;
  readonly members: Episode[];
  toNs: number;
}

/** Episodes as incidents with who was hit and where: what went on all the time, and what happened once. Pure. */
export function clusterEpisodes(
  episodes: readonly Episode[],
  run: CompiledRun,
  graph: SiteGraph,
  witnesses: Witnesses,
): readonly ReportIncident[] {
  const parted = new SteadyLosses(run);
  for (const episode of episodes.toSorted((a, b) => a.fromNs - b.fromNs)) parted.take(episode);
  parted.end();
  return clusterParted(parted, run, graph, witnesses);
}

/** The same of episodes that were parted already. In the order of their beginnings. */
export function clusterParted(
  { steady, others }: Pick<SteadyLosses, "steady" | "others">,
  run: CompiledRun,
  graph: SiteGraph,
  witnesses: Witnesses,
): readonly ReportIncident[] {
  const clusters = clustersOf(others);
  const outages = clusters.filter(({ kind }) => kind === "away" || kind === "source").flatMap(({ members }) => members);
  const causes = new LossCauses(run, graph, witnesses);
  const once = worstOf(clusters).flatMap(({ kind, members }) =>
    kind === "loss"
      ? lossIncidents(members, run, outages, causes)
      : [tellIncident(kind, incidentFacts(members, run), graph)],
  );
  return [...steadyIncidents(steady, run, graph, causes), ...once].toSorted((a, b) => a.fromMs - b.fromMs);
}

/** In the order of their first episodes. */
function clustersOf(episodes: readonly Episode[]): Cluster[] {
  const clusters: Cluster[] = [];
  const open = new Map<IncidentKind, Cluster>();
  for (const episode of episodes.toSorted((a, b) => a.fromNs - b.fromNs)) {
    const kind = INCIDENT_KINDS[episode.kind];
    if (kind === null) continue;
    const cluster = open.get(kind);
    if (cluster !== undefined && episode.fromNs <= cluster.toNs + TOGETHER_NS) {
      cluster.members.push(episode);
      cluster.toNs = Math.max(cluster.toNs, episode.toNs);
      continue;
    }
    const begun: Cluster = { kind, members: [episode], toNs: episode.toNs };
    clusters.push(begun);
    open.set(kind, begun);
  }
  return clusters;
}

/** In the same order. */
function worstOf(clusters: readonly Cluster[]): readonly Cluster[] {
  if (clusters.length <= MOST_CLUSTERS) return clusters;
  const weights = new Map(clusters.map((cluster) => [cluster, weigh(cluster)]));
  const weightOf = (cluster: Cluster): number => weights.get(cluster) ?? 0;
  const worst = new Set(clusters.toSorted((a, b) => weightOf(b) - weightOf(a)).slice(0, MOST_CLUSTERS));
  return clusters.filter((cluster) => worst.has(cluster));
}

/** Outages first, then by packets. */
function weigh({ kind, members, toNs }: Cluster): number {
  if (kind === "away" || kind === "source") return 1e12 + (toNs - (members[0]?.fromNs ?? toNs)) / 1e6;
  return members.reduce((sum, { count }) => sum + count, 0);
}
