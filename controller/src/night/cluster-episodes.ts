import type { SiteGraph } from "@dyetrace/site";
import type { ReportIncident } from "@dyetrace/wire";
import { getOrAdd } from "../account/get-or-add.ts";
import type { CompiledRun } from "../plan/compiled-run.ts";
import type { Episode } from "../store/pack/kept-report.ts";
import { LossesBeside } from "./beside.ts";
import { incidentFacts } from "./incident-facts.ts";
import { INCIDENT_KINDS, type IncidentKind } from "./incident-kinds.ts";
import { hasOwnSpan, ownSpans } from "./kind-spans.ts";
import { LossCauses } from "./loss-causes.ts";
import { lossIncidents, untoldLosses } from "./loss-incidents.ts";
import { isOrderKind, orderIncidents } from "./order-incidents.ts";
import { steadyIncidents } from "./steady-incidents.ts";
import { SteadyLosses } from "./steady-loss.ts";
import { sumUp } from "./sum-up.ts";
import { tellIncident } from "./tell-incident.ts";
import { TOGETHER_NS } from "./together.ts";
import type { Witnesses } from "./witnesses.ts";

/** Of more losses, the places of the largest are asked for: a bound of effort. */
const MOST_ASKED = 500;

/** Episodes as incidents with who was hit and where: what went on all the time, and what happened once. Pure. */
export function clusterEpisodes(
  episodes: readonly Episode[],
  run: CompiledRun,
  graph: SiteGraph,
  witnesses: Witnesses,
): readonly ReportIncident[] {
  const parted = new SteadyLosses(run);
  const sorted = episodes.toSorted((a, b) => a.fromNs - b.fromNs);
  for (const episode of sorted) parted.take(episode);
  parted.end();
  const beside = new LossesBeside(parted.steady, parted.others);
  for (const episode of sorted) beside.take(episode);
  return clusterParted(parted, run, graph, witnesses, beside);
}

/** The same of episodes that were parted already. In the order of their beginnings. */
export function clusterParted(
  { steady, others }: Pick<SteadyLosses, "steady" | "others">,
  run: CompiledRun,
  graph: SiteGraph,
  witnesses: Witnesses,
  beside: LossesBeside,
): readonly ReportIncident[] {
  const byKind = new Map<IncidentKind, Episode[]>();
  for (const episode of others) {
    const kind = INCIDENT_KINDS[episode.kind];
    if (kind !== null) getOrAdd(byKind, kind, () => []).push(episode);
  }
  const outages = ["away", "restart", "source"].flatMap((kind) => byKind.get(kind as IncidentKind) ?? []);
  const causes = new LossCauses(run, graph, witnesses, beside);
  const once = [...byKind].flatMap(([kind, members]): ReportIncident[] => {
    if (kind === "loss") return lossesOf(members, run, outages, causes);
    const groups = hasOwnSpan(kind) ? ownSpans(kind, members) : chains(members);
    return isOrderKind(kind)
      ? groups.flatMap((own) => orderIncidents(kind, own, members, run, graph, causes))
      : groups.map((own) => tellIncident(kind, incidentFacts(own, run), graph));
  });
  const all = [...steadyIncidents(steady, run, graph, causes), ...once];
  return sumUp(all, graph.name).toSorted((a, b) => a.fromMs - b.fromMs);
}

function lossesOf(members: readonly Episode[], run: CompiledRun, outages: readonly Episode[], causes: LossCauses) {
  const clusters = chains(members);
  const asked = new Set(clusters.toSorted((a, b) => packetsOf(b) - packetsOf(a)).slice(0, MOST_ASKED));
  return clusters.flatMap((own) =>
    asked.has(own) ? lossIncidents(own, run, outages, causes) : untoldLosses(own, run),
  );
}

const packetsOf = (members: readonly Episode[]): number => members.reduce((sum, { count }) => sum + count, 0);

/** Episodes that follow each other, whoever's they are, in the order of their first ones. */
function chains(episodes: readonly Episode[]): Episode[][] {
  const found: Episode[][] = [];
  let toNs = Number.NEGATIVE_INFINITY;
  for (const episode of episodes.toSorted((a, b) => a.fromNs - b.fromNs)) {
    if (episode.fromNs > toNs + TOGETHER_NS) found.push([episode]);
    else found.at(-1)?.push(episode);
    toNs = Math.max(toNs, episode.toNs);
  }
  return found;
}
