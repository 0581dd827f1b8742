import type { SiteGraph } from "@dyetrace/site";
import type { HeardReport, RunObservations } from "../../../packages/locate/src/run/run-observations.ts";

/**
 * Whose reports each host hears: a switch hands them on to where routers and queriers are and nowhere else (RFC 4541,
 * section 2.1.1, rule 1), unmanaged switches and radios to everybody.
 */
export function withReportsHeard(run: RunObservations, graph: SiteGraph, agents: readonly string[]): RunObservations {
  const groupOf = new Map(run.streams.map(({ stream, group }) => [stream, group]));
  const hearers = new Map<string, readonly string[]>();
  const heard = new Map<string, HeardReport>();
  for (const { host: from, stream } of run.listeners) {
    const group = groupOf.get(stream) ?? "";
    const hosts = hearers.get(from) ?? hostsThatHear(graph, from).filter((host) => agents.includes(host));
    hearers.set(from, hosts);
    for (const host of hosts) heard.set(`${host} ${from} ${group}`, { host, from, group });
  }
  return { ...run, reportsHeard: [...heard.values()] };
}

function hostsThatHear(graph: SiteGraph, member: string): string[] {
  const hearing: string[] = [];
  const open = [{ node: member, from: "" }];
  for (const { node, from } of open) {
    const kind = graph.nodes.get(node)?.kind;
    if (kind === "host" && node !== member) hearing.push(node);
    if (kind === "router" || (kind === "host" && node !== member)) continue;
    for (const { to } of graph.outgoing.get(node) ?? []) {
      if (to.node === from || (kind === "switch" && !leadsToQuerier(graph, node, to.node))) continue;
      open.push({ node: to.node, from: node });
    }
  }
  return hearing;
}

/** Whether a router or the querier lies behind the switch's port to `next`, within the layer-2 domain. */
function leadsToQuerier(graph: SiteGraph, node: string, next: string): boolean {
  const open = [{ at: next, from: node }];
  for (const { at, from } of open) {
    const { kind, isQuerier } = graph.nodes.get(at) ?? {};
    if (isQuerier === true || kind === "router") return true;
    for (const { to } of graph.outgoing.get(at) ?? []) if (to.node !== from) open.push({ at: to.node, from: at });
  }
  return false;
}
