import type { LinkSegment, SiteGraph } from "@dyetrace/site";

/** A plan drawn as a tree from one node: every node once, in the order of the plan; links that are blocked left out. */
export interface TreeLine {
  readonly node: string;
  /** The segment from the parent; null for the root. */
  readonly segment: LinkSegment | null;
  /** Box-drawing branches in front of the node's name. */
  readonly branches: string;
}

/** @param root the node at the head, normally the stream's source */
export function drawSiteTree(graph: SiteGraph, root: string): readonly TreeLine[] {
  const lines: TreeLine[] = [];
  const seen = new Set<string>([root]);
  const visit = (node: string, segment: LinkSegment | null, branches: string, below: string): void => {
    lines.push({ node, segment, branches });
    const children: LinkSegment[] = [];
    for (const next of graph.outgoing.get(node) ?? []) {
      if (seen.has(next.to.node) || next.link.isBlocked === true) continue;
      seen.add(next.to.node);
      children.push(next);
    }
    for (const [index, child] of children.entries()) {
      const isLast = index === children.length - 1;
      visit(child.to.node, child, `${below}${isLast ? "└─ " : "├─ "}`, `${below}${isLast ? "   " : "│  "}`);
    }
  };
  visit(root, null, "", "");
  return lines;
}
