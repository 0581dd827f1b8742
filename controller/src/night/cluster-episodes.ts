import { hostOfAgent, type SiteGraph } from "@dyetrace/site";
import { formatDurationNs, type ReportIncident } from "@dyetrace/wire";
import { sharedPlaces } from "../compare/shared-places.ts";
import type { CompiledRun } from "../plan/compiled-run.ts";
import type { Episode, EpisodeKind } from "../store/kept-report.ts";

/** Episodes of one kind that begin this soon after each other's end are one incident. */
const TOGETHER_NS = 2e9;
/** Of more, the worst are told. */
const MOST_INCIDENTS = 500;

/** What an operator calls it; a query alone is nothing. */
const KINDS: Readonly<Record<EpisodeKind, string | null>> = {
  loss: "loss",
  silence: "loss",
  "host-loss": "host-loss",
  "send-stall": "source",
  "source-stop": "source",
  link: "link",
  "clock-step": "clock-step",
  query: null,
  "querier-change": "querier-change",
  away: "away",
  "no-control": "no-control",
  dropped: "dropped",
};

/** Episodes that belong together in time, as incidents with who was hit and where. Pure. */
export function clusterEpisodes(
  episodes: readonly Episode[],
  run: CompiledRun,
  graph: SiteGraph,
): readonly ReportIncident[] {
  const groups: { kind: string; toNs: number; members: Episode[] }[] = [];
  const open = new Map<string, (typeof groups)[number]>();
  for (const episode of episodes.toSorted((a, b) => a.fromNs - b.fromNs)) {
    const kind = KINDS[episode.kind];
    if (kind === null) continue;
    const group = open.get(kind);
    if (group !== undefined && episode.fromNs <= group.toNs + TOGETHER_NS) {
      group.members.push(episode);
      group.toNs = Math.max(group.toNs, episode.toNs);
      continue;
    }
    const begun = { kind, toNs: episode.toNs, members: [episode] };
    groups.push(begun);
    open.set(kind, begun);
  }
  const outages = groups.filter(({ kind }) => kind === "away" || kind === "source").flatMap(({ members }) => members);
  const incidents = groups.map(({ kind, members }) => asIncident(kind, members, { run, graph, outages }));
  if (incidents.length <= MOST_INCIDENTS) return incidents;
  const worst = new Set(incidents.toSorted((a, b) => weigh(b) - weigh(a)).slice(0, MOST_INCIDENTS));
  return incidents.filter((incident) => worst.has(incident));
}

/** Outages first, then by packets. */
const weigh = ({ kind, count, fromMs, toMs }: ReportIncident): number =>
  kind === "away" || kind === "source" ? 1e12 + toMs - fromMs : count;

interface Circumstances {
  readonly run: CompiledRun;
  readonly graph: SiteGraph;
  /** When sources or listeners themselves were out of work. */
  readonly outages: readonly Episode[];
}

function asIncident(kind: string, members: readonly Episode[], circumstances: Circumstances): ReportIncident {
  const { run, graph } = circumstances;
  const streamOf = new Map(run.streams.map((stream) => [stream.streamId, stream]));
  const fromNs = Math.min(...members.map((one) => one.fromNs));
  const toNs = Math.max(...members.map((one) => one.toNs));
  const streams = unique(
    members.flatMap(({ streamId }) => (streamId === null ? [] : (streamOf.get(streamId)?.name ?? []))),
  );
  const agents = unique(members.flatMap(({ agent }) => (agent === "" ? [] : agent)));
  const count = members.reduce((sum, one) => sum + one.count, 0);
  const base = { fromMs: fromNs / 1e6, toMs: toNs / 1e6, streams, agents, count };
  const lasted = formatDurationNs(toNs - fromNs);
  const who = listed(agents);
  switch (kind) {
    case "loss": {
      const absent = absentSource(streams, fromNs, toNs, circumstances);
      const what = count > 0 ? `lost ${count} packets` : "fell silent";
      const title = `${listed(streams)} ${what} at ${who} within ${lasted}`;
      if (absent !== null) {
        return { kind: "source", ...base, suspects: [], title: `${title}, while its source ${absent} was not at work` };
      }
      const suspects = placesOf(members, run, graph);
      return {
        kind,
        ...base,
        suspects: [...suspects],
        title: `${title}${suspects.length === 0 ? "" : `, by way of ${listed(suspects)}`}`,
      };
    }
    case "host-loss":
      return {
        kind,
        ...base,
        suspects: hosts(agents, graph),
        title: `${who} dropped ${count} packets inside the host within ${lasted}`,
      };
    case "source": {
      const why = members.find(({ detail }) => detail !== "")?.detail ?? "";
      return {
        kind,
        ...base,
        suspects: hosts(agents, graph),
        title: `Source ${who} did not send as planned for ${lasted}${why === "" ? "" : ` (${why})`}`,
      };
    }
    case "away":
      return {
        kind,
        ...base,
        suspects: [],
        title: `${who} did not work for ${lasted}: what happened there meanwhile is not known`,
      };
    case "no-control":
      return {
        kind,
        ...base,
        suspects: [],
        title:
          agents.length === 0
            ? `The controller was away for ${lasted}; the agents went on and nothing is missing`
            : `No connection between the controller and ${who} for ${lasted}; measuring went on`,
      };
    case "link":
      return { kind, ...base, suspects: hosts(agents, graph), title: `The network interface of ${who} lost its link` };
    case "clock-step":
      return { kind, ...base, suspects: [], title: `The clock of ${who} was set; measuring does not use it` };
    case "dropped":
      return { kind, ...base, suspects: [], title: `${who} had no room for ${count} reports and dropped them` };
    default:
      return { kind, ...base, suspects: [], title: members[0]?.detail ?? kind };
  }
}

/** @returns the agent whose absence explains that its stream did not come, or null */
function absentSource(
  streams: readonly string[],
  fromNs: number,
  toNs: number,
  { run, outages }: Circumstances,
): string | null {
  const sources = new Set(run.streams.filter(({ name }) => streams.includes(name)).map(({ source }) => source));
  const explains = outages.find(
    (outage) => sources.has(outage.agent) && outage.fromNs <= toNs + TOGETHER_NS && outage.toNs >= fromNs - TOGETHER_NS,
  );
  return explains?.agent ?? null;
}

/**
 * Where one cause would have hit just these listeners: the places that explain each stream's losses by themselves, and
 * spare whoever lost nothing at all.
 */
function placesOf(members: readonly Episode[], run: CompiledRun, graph: SiteGraph): readonly string[] {
  const hitBy = new Map<number, Set<string>>();
  for (const { streamId, agent, count } of members) {
    if (streamId === null || count === 0) continue;
    hitBy.set(streamId, (hitBy.get(streamId) ?? new Set()).add(agent));
  }
  const hitAtAll = new Set([...hitBy.values()].flatMap((agents) => [...agents]));
  const fromNs = Math.min(...members.map((one) => one.fromNs));
  const explained = [...hitBy].map(([streamId, hit]): readonly string[] => {
    const stream = run.streams.find((one) => one.streamId === streamId);
    if (stream === undefined) return [];
    const listening = run.joins.filter(
      (join) => join.stream === stream.name && join.fromNs < fromNs && (join.toNs === null || join.toNs > fromNs),
    );
    const spared = unique(listening.map((join) => join.agent)).filter((agent) => !hitAtAll.has(agent));
    return sharedPlaces(graph, stream.source, [...hit], spared);
  });
  const [first, ...rest] = explained;
  return (first ?? []).filter((place) => rest.every((places) => places.includes(place)));
}

const unique = (names: readonly string[]): string[] => [...new Set(names)];

const hosts = (agents: readonly string[], graph: SiteGraph): string[] =>
  agents.map((agent) => hostOfAgent(graph, agent) ?? agent);

function listed(names: readonly string[]): string {
  if (names.length === 0) return "an agent";
  return names.length <= 4 ? names.join(", ") : `${names.slice(0, 3).join(", ")} and ${names.length - 3} more`;
}
