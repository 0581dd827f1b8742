import { loadSitePlan, type SiteGraph } from "@dyetrace/site";
import { loadScenario, type RunRequest } from "@dyetrace/wire";

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
    const { streams, timeline } = scenario;
    return [
      `name ${scenario.name}`,
      ...streams.map((stream) => `stream ${JSON.stringify(stream)}`),
      ...timeline.map((action) => `entry ${JSON.stringify(action)}`),
    ];
  };
  return listDifferences("scenario", parts(before), parts(after));
}

function listDifferences(what: string, before: readonly string[], after: readonly string[]): string[] {
  const [old, now] = [new Set(before), new Set(after)];
  return [
    ...before.filter((item) => !now.has(item)).map((item) => `only the earlier ${what} has ${item}`),
    ...after.filter((item) => !old.has(item)).map((item) => `only the later ${what} has ${item}`),
  ];
}
