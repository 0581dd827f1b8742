import type { SiteIndex } from "../../packages/locate/src/site/site-index.ts";
import { nodesDownTo, type SourceTree } from "../../packages/locate/src/site/source-tree.ts";
import type { SimulatedFault } from "./simulated-fault.ts";

/** Nodes that frames reach, over open ports and leaks. */
export function simulatedReach(
  site: SiteIndex,
  tree: SourceTree,
  members: ReadonlySet<number>,
  faults: readonly SimulatedFault[],
): Set<number> {
  const reached = new Set([tree.source]);
  for (const node of tree.order.slice(1)) {
    const parent = tree.parent[node] ?? -1;
    const id = site.segments[tree.into[node] ?? -1]?.id;
    const above = site.nodes[parent];
    const leaks = faults.some(
      (fault) =>
        (fault.kind === "flooding-node" && fault.node === above?.name) ||
        (fault.kind === "flooding-port" && fault.segment === id),
    );
    if (reached.has(parent) && (leaks || isOpenByDesign(site, tree, members, node))) reached.add(node);
  }
  return reached;
}

function isOpenByDesign(site: SiteIndex, tree: SourceTree, members: ReadonlySet<number>, node: number): boolean {
  const parent = site.nodes[tree.parent[node] ?? -1];
  switch (parent?.kind) {
    case "switch": {
      // Within the layer-2 domain behind the port: a member, a router, or the querier.
      for (const at of tree.order) {
        const path = nodesDownTo(tree, at);
        const from = path.indexOf(node);
        if (from === -1) continue;
        const isBeyondRouter = path.slice(from, -1).some((step) => site.nodes[step]?.kind === "router");
        if (isBeyondRouter) continue;
        if (members.has(at) || site.nodes[at]?.kind === "router" || site.nodes[at]?.isQuerier === true) return true;
      }
      return false;
    }
    case "router":
      return [...members].some((member) => nodesDownTo(tree, member).includes(node));
    case "unmanaged":
    case "access-point":
      return true;
    case "host":
      return tree.parent[node] === tree.source;
    case undefined:
      return false;
  }
}
