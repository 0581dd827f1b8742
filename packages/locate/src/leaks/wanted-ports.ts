import type { SiteIndex } from "../site/site-index.ts";
import type { SourceTree } from "../site/source-tree.ts";

/** Which ports a stream's frames rightly leave by. Both lists by the number of the node behind the port. */
export interface WantedPorts {
  /** The port into this node is open by its own switch's or router's rule, wherever the frames come from. */
  readonly isOpen: readonly boolean[];
  /** Frames rightly reach the node: every port on the way is open. */
  readonly isReached: readonly boolean[];
}

/**
 * The rules of RFC 4541, section 2.1.2, on one source's tree, in time proportional to its nodes: a switch forwards to
 * ports behind which, inside the layer-2 domain, there is a member, a router or a querier; a router where a member lies
 * behind; unmanaged switches and radios everywhere. `byDesignReach` of the site package says the same for one stream on
 * a graph; here it is asked for many streams and many suppositions.
 */
export function wantedPorts(
  site: SiteIndex,
  tree: SourceTree,
  members: ReadonlySet<number>,
  queriers: ReadonlySet<number>,
): WantedPorts {
  const wantsInDomain = site.nodes.map((node, n) => members.has(n) || queriers.has(n) || node.kind === "router");
  const hasMember = site.nodes.map((_, n) => members.has(n));
  for (let at = tree.order.length - 1; at > 0; at--) {
    const node = tree.order[at] ?? 0;
    const parent = tree.parent[node] ?? 0;
    if (hasMember[node]) hasMember[parent] = true;
    if (wantsInDomain[node] && site.nodes[parent]?.kind !== "router") wantsInDomain[parent] = true;
  }
  const isOpen = site.nodes.map(() => false);
  const isReached = site.nodes.map((_, n) => n === tree.source);
  for (const node of tree.order.slice(1)) {
    const parent = tree.parent[node] ?? 0;
    isOpen[node] = parent === tree.source || opens(site.nodes[parent]?.kind, hasMember[node], wantsInDomain[node]);
    isReached[node] = isOpen[node] && isReached[parent] === true;
  }
  return { isOpen, isReached };
}

function opens(kind: string | undefined, hasMember = false, wantsInDomain = false): boolean {
  switch (kind) {
    case "switch":
      return wantsInDomain;
    case "router":
      return hasMember;
    case "unmanaged":
    case "access-point":
      return true;
    default:
      return false;
  }
}
