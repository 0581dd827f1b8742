import { layer2Domain, type SiteGraph, unfoldVlans } from "@dyetrace/site";
import { Fault } from "@dyetrace/wire";
import { isSnooping } from "./node-kinds.ts";

/**
 * For each subnet: the plan's querier, else the snooping node nearest to `firstSource` (or to the subnet's first node), as
 * `querierOf` of @dyetrace/site has it, but for unmanaged switches and routers, which do not query here.
 * @returns nodes of the unfolded site, that of the first source's subnet first; empty when no node snoops
 * @throws {Fault} SITE_PLAN_INVALID if the plan's querier cannot query; NODE_UNKNOWN for an unknown source
 */
export function chooseQueriers(graph: SiteGraph, firstSource: string | null): string[] {
  const site = unfoldVlans(graph);
  for (const { name, kind, isQuerier } of site.nodes.values()) {
    if (!isQuerier || isSnooping(kind)) continue;
    throw new Fault(
      "SITE_PLAN_INVALID",
      `"${name}" is marked as querier, and a practice site cannot query from a node of kind ${kind}`,
      "Mark a switch or an access point",
    );
  }
  if (firstSource !== null && !graph.nodes.has(firstSource)) {
    throw new Fault("NODE_UNKNOWN", `The site plan has no node "${firstSource}"`, "Name a host of the plan");
  }
  const queriers: string[] = [];
  const done = new Set<string>();
  for (const start of [...(firstSource === null ? [] : [firstSource]), ...site.nodes.keys()]) {
    if (done.has(start) || site.nodes.get(start)?.kind === "router") continue;
    const domain = [...layer2Domain(site, start)].filter((name) => site.nodes.get(name)?.kind !== "router");
    for (const name of domain) done.add(name);
    const declared = domain.find((name) => site.nodes.get(name)?.isQuerier);
    const chosen = declared ?? domain.find((name) => isSnooping(site.nodes.get(name)?.kind ?? "host"));
    if (chosen !== undefined) queriers.push(chosen);
  }
  return queriers;
}
