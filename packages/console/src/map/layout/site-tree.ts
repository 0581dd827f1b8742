import type { LinkSegment, SiteGraph, SiteNode } from "@dyetrace/site";

/** A plan hung up by one node: every node under the one that traffic from the root reaches it through. */
export interface TreeNode {
  readonly node: SiteNode;
  /** The segment from the parent, in the direction of the flow; null for the root. */
  readonly segmentId: string | null;
  /** The same link the other way. */
  readonly reverseId: string | null;
  readonly children: readonly TreeNode[];
  readonly parent: string | null;
  /** Nodes below, this one not counted. */
  readonly size: number;
}

export interface SiteTree {
  readonly root: TreeNode;
  readonly byName: ReadonlyMap<string, TreeNode>;
  /** From either direction's segment id to the node at the lower end of that link. */
  readonly lowerEnd: ReadonlyMap<string, TreeNode>;
}

/**
 * @param rootName the node at the head, normally the source's host
 * @returns null if the plan has no such node
 */
export function hangUp(graph: SiteGraph, rootName: string): SiteTree | null {
  const byName = new Map<string, TreeNode>();
  const lowerEnd = new Map<string, TreeNode>();
  const seen = new Set([rootName]);
  const visit = (
    name: string,
    segmentId: string | null,
    reverseId: string | null,
    parent: string | null,
  ): TreeNode | null => {
    const node = graph.nodes.get(name);
    if (node === undefined) return null;
    const next: LinkSegment[] = [];
    for (const segment of graph.outgoing.get(name) ?? []) {
      if (seen.has(segment.to.node) || segment.link.isBlocked === true) continue;
      seen.add(segment.to.node);
      next.push(segment);
    }
    const children = next.flatMap((segment) => {
      const { from, to } = segment;
      const back = `${to.node}:${to.port}>${from.node}:${from.port}`;
      return visit(to.node, segment.id, back, name) ?? [];
    });
    const size = children.reduce((sum, child) => sum + 1 + child.size, 0);
    const tree: TreeNode = { node, segmentId, reverseId, children, parent, size };
    byName.set(name, tree);
    if (segmentId !== null) lowerEnd.set(segmentId, tree);
    if (reverseId !== null) lowerEnd.set(reverseId, tree);
    return tree;
  };
  const root = visit(rootName, null, null, null);
  return root === null ? null : { root, byName, lowerEnd };
}
