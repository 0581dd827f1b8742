import type { LinkSegment, SiteGraph } from "@dyetrace/site";

/** A plan drawn as a tree from one node: every node once, in the order of the plan. */
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
    const children = (graph.outgoing.get(node) ?? []).filter((next) => !seen.has(next.to.node));
    for (const child of children) seen.add(child.to.node);
    for (const [index, child] of children.entries()) {
      const isLast = index === children.length - 1;
      visit(child.to.node, child, `${below}${isLast ? "└─ " : "├─ "}`, `${below}${isLast ? "   " : "│  "}`);
    }
  };
  visit(root, null, "", "");
  return lines;
}
