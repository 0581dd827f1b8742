import type { SiteGraph } from "@dyetrace/site";
import { Fault } from "@dyetrace/wire";
import { isSnooping } from "./node-kinds.ts";

/**
 * The plan's querier, else the snooping node nearest to `firstSource` (or to the plan's first node), as `querierOf` of
 * @dyetrace/site has it, but for unmanaged switches, which cannot query.
 * @returns null when no node snoops
 * @throws {Fault} SITE_PLAN_INVALID if the plan's querier cannot query; NODE_UNKNOWN for an unknown source
 */
export function chooseQuerier(graph: SiteGraph, firstSource: string | null): string | null {
  const declared = [...graph.nodes.values()].find((node) => node.isQuerier);
  if (declared !== undefined) {
    if (isSnooping(declared.kind)) return declared.name;
    throw new Fault(
      "SITE_PLAN_INVALID",
      `"${declared.name}" is marked as querier, and a practice site cannot query from a node of kind ${declared.kind}`,
      "Mark a switch or an access point",
    );
  }
  if (firstSource !== null && !graph.nodes.has(firstSource)) {
    throw new Fault("NODE_UNKNOWN", `The site plan has no node "${firstSource}"`, "Name a host of the plan");
  }
  const reached = new Set(firstSource === null ? [...graph.nodes.keys()].slice(0, 1) : [firstSource]);
  for (const at of reached) {
    if (isSnooping(graph.nodes.get(at)?.kind ?? "host")) return at;
    for (const segment of graph.outgoing.get(at) ?? []) reached.add(segment.to.node);
  }
  return null;
}
