import type { SiteIndex } from "./site-index.ts";
import { nodesDownTo, type SourceTree } from "./source-tree.ts";

/** Names of the routers that packets pass on their way to a node, which itself is none of them. */
export function routersOnWay(site: SiteIndex, tree: SourceTree, node: number): string[] {
  return nodesDownTo(tree, node).flatMap((step) => {
    const at = site.nodes[step];
    return at?.kind === "router" && step !== node ? [at.name] : [];
  });
}
