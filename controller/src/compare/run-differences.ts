import { loadSitePlan, type SiteGraph } from "@dyetrace/site";
import {
  formatDurationNs,
  formatRateBps,
  loadScenario,
  parseDurationNs,
  parseRateBps,
  type RunRequest,
  type ScenarioAction,
  type ScenarioStream,
} from "@dyetrace/wire";

/** What makes two runs no pair: how their scenarios and plans differ in meaning, not in wording. Empty if they don't. */
export function runDifferences(before: RunRequest, after: RunRequest): readonly string[] {
  return [...planDifferences(graphOf(before), graphOf(after)), ...scenarioDifferences(before, after)];
}

const graphOf = ({ site }: RunRequest): SiteGraph => loadSitePlan(site.text, site.file);

function planDifferences(before: SiteGraph, after: SiteGraph): string[] {
  const nodes = (graph: SiteGraph): string[] =>
    [...graph.nodes.values()].map(
      ({ name, kind, isQuerier, agent }) =>
        `${kind} ${name}${isQuerier ? " (querier)" : ""}${agent === null || agent === name ? "" : ` with agent ${agent}`}`,
    );
  const links = (graph: SiteGraph): string[] =>
    graph.links.map(({ a, b, vlans, cost, isBlocked }) => {
      const ends = [`${a.node}:${a.port}`, `${b.node}:${b.port}`].sort().join(" -- ");
      const carried = vlans === undefined ? "" : ` with VLAN ${vlans.join(", ")}`;
      return `link ${ends}${carried}${cost === undefined ? "" : ` of cost ${cost}`}${isBlocked === true ? ", blocked" : ""}`;
    });
  return listDifferences("plan", [...nodes(before), ...links(before)], [...nodes(after), ...links(after)]);
}

function scenarioDifferences(before: RunRequest, after: RunRequest): string[] {
  const parts = (request: RunRequest): string[] => {
    const { scenario } = loadScenario(request.scenario.text, request.scenario.file, {
      parameters: request.parameters ?? {},
    });
    const { name, streams, timeline } = scenario;
    return [`name ${name}`, ...streams.map(sayStream), ...timeline.map(sayAction)];
  };
  return listDifferences("scenario", parts(before), parts(after));
}

/** Words round; where that hides a difference, the figure itself. */
const rateWords = (rateBps: number): string => {
  const words = formatRateBps(rateBps);
  return parseRateBps(words) === rateBps ? words : `${rateBps} bit/s`;
};
const timeWords = (ns: number): string => {
  const words = formatDurationNs(ns);
  return parseDurationNs(words) === ns ? words : `${ns / 1e9} s`;
};

function sayStream(stream: ScenarioStream): string {
  const { name, source, group, port, rateBps, payloadBytes, ttl, dscp, burstPackets } = stream;
  const more = [
    ...(ttl === 1 ? [] : [`TTL ${ttl}`]),
    ...(dscp === 0 ? [] : [`DSCP ${dscp}`]),
    ...(burstPackets === 1 ? [] : [`bursts of ${burstPackets}`]),
    ...(stream.isSourceSpecific ? ["joined with its source"] : []),
    ...(stream.hasCompanion ? ["with a companion"] : []),
  ];
  const figures = [rateWords(rateBps), `${payloadBytes} B`, ...more].join(", ");
  return `stream ${name} from ${source} to ${group} port ${port} (${figures})`;
}

function sayAction(action: ScenarioAction): string {
  const at = `at ${timeWords(action.atNs)} ${action.kind} ${action.stream}`;
  switch (action.kind) {
    case "emit":
    case "stop":
      return at;
    case "join":
    case "watch":
    case "leave":
      return action.agents === null ? at : `${at} by ${action.agents.join(", ")}`;
    case "set": {
      const { rateBps, payloadBytes } = action;
      const to = [rateBps === null ? [] : rateWords(rateBps), payloadBytes === null ? [] : `${payloadBytes} B`];
      return `${at} to ${to.flat().join(", ")}`;
    }
  }
}

function listDifferences(what: string, before: readonly string[], after: readonly string[]): string[] {
  const [old, now] = [new Set(before), new Set(after)];
  return [
    ...before.filter((item) => !now.has(item)).map((item) => `only the earlier ${what} has ${item}`),
    ...after.filter((item) => !old.has(item)).map((item) => `only the later ${what} has ${item}`),
  ];
}
