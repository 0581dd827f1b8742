import { type LinkSegment, type SiteGraph, type SiteNode, segmentId, sourceWays, unfoldedNames } from "@dyetrace/site";
import { chooseWays, NO_EVIDENCE, type WayEvidence } from "./choose-ways.ts";

/** A site hung up by one node: every node under the one that traffic from the root reaches it through. */
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
  /** The VLAN that it stands in; null for a router, which stands between several, and in a site without VLANs. */
  readonly vlan: number | null;
  /** Routes of equal cost lead by this router and by others: nobody can say which of them brings the packets. */
  readonly isOneOfSeveral: boolean;
  /** Where it stands for several hosts of one switch to which the same happened. */
  readonly group?: { readonly hosts: readonly string[]; readonly words: string };
}

export interface SiteTree {
  readonly root: TreeNode;
  /** What no way leads to from the root: VLANs without a router to it, each hung up by itself. */
  readonly apart: readonly TreeNode[];
  readonly byName: ReadonlyMap<string, TreeNode>;
  /** From either direction's segment id to the node at the lower end of that link. */
  readonly lowerEnd: ReadonlyMap<string, TreeNode>;
  /** The places of the tree that a place of the plan stands at: several where VLANs share it. */
  readonly placesOf: (place: string) => readonly string[];
  /** By number, where the plan gives a name. */
  readonly vlanNames: ReadonlyMap<number, string>;
}

/**
 * @param graph unfolded: a switch stands there once for each VLAN
 * @param rootName the node at the head, normally the source's host
 * @param evidence of a run, to choose by among ways that cost the same
 * @returns null if the graph has no such node
 */
export function hangUp(graph: SiteGraph, rootName: string, evidence: WayEvidence = NO_EVIDENCE): SiteTree | null {
  if (!graph.nodes.has(rootName)) return null;
  const { possible, drawn } = chooseWays(graph, sourceWays(graph, rootName), evidence);
  const entries = new Map(drawn);
  const seen = new Set([rootName, ...entries.keys()]);
  addUnreached(graph, [...seen], seen, entries);
  const roots = [rootName];
  for (const name of apartFirst(graph)) {
    if (seen.has(name)) continue;
    roots.push(name);
    seen.add(name);
    addUnreached(graph, [name], seen, entries);
  }
  const shared = sharedRouters(graph, possible);
  const below = new Map<string, LinkSegment[]>();
  for (const segment of entries.values()) {
    const known = below.get(segment.from.node);
    if (known === undefined) below.set(segment.from.node, [segment]);
    else known.push(segment);
  }
  const inPlan = new Map([...graph.segments.keys()].map((id, index) => [id, index]));
  const byName = new Map<string, TreeNode>();
  const lowerEnd = new Map<string, TreeNode>();
  const visit = (name: string, into: LinkSegment | null): TreeNode | null => {
    const node = graph.nodes.get(name);
    if (node === undefined) return null;
    const next = (below.get(name) ?? []).toSorted((a, b) => (inPlan.get(a.id) ?? 0) - (inPlan.get(b.id) ?? 0));
    const children = next.flatMap((segment) => visit(segment.to.node, segment) ?? []);
    const back = into === null ? undefined : backOf(graph, into);
    const tree: TreeNode = {
      node,
      segmentId: into?.id ?? null,
      reverseId: back?.id ?? null,
      children,
      parent: into?.from.node ?? null,
      size: children.reduce((sum, child) => sum + 1 + child.size, 0),
      vlan: node.kind === "router" ? null : (graph.outgoing.get(name)?.[0]?.link.vlans?.[0] ?? null),
      isOneOfSeveral: shared.has(name),
    };
    byName.set(name, tree);
    if (into !== null) lowerEnd.set(into.id, tree);
    if (back !== undefined) lowerEnd.set(back.id, tree);
    return tree;
  };
  const [root, ...apart] = roots.flatMap((name) => visit(name, null) ?? []);
  if (root === undefined) return null;
  const vlanNames = new Map(
    [...(graph.vlans?.values() ?? [])].flatMap(({ number, name }) => (name === null ? [] : [[number, name] as const])),
  );
  return { root, apart, byName, lowerEnd, placesOf: (place) => unfoldedNames(graph, place), vlanNames };
}

const backOf = (graph: SiteGraph, { from, to, link }: LinkSegment): LinkSegment | undefined =>
  (graph.outgoing.get(to.node) ?? []).find(
    (segment) =>
      segment.link === link &&
      segment.to.node === from.node &&
      segmentId(segment.from, segment.to) === segmentId(to, from),
  );

/** Hangs what no way leads to under whatever of `from` it is linked to. */
function addUnreached(
  graph: SiteGraph,
  from: readonly string[],
  seen: Set<string>,
  entries: Map<string, LinkSegment>,
): void {
  const queue = [...from];
  for (const name of queue) {
    for (const segment of graph.outgoing.get(name) ?? []) {
      const next = segment.to.node;
      if (seen.has(next) || segment.link.isBlocked === true) continue;
      seen.add(next);
      entries.set(next, segment);
      queue.push(next);
    }
  }
}

/** What a tree of its own hangs from: its querier, else a switch, else whatever it has. */
function apartFirst(graph: SiteGraph): readonly string[] {
  const rank = ({ isQuerier, kind }: SiteNode): number => (isQuerier ? 0 : kind === "host" ? 2 : 1);
  return [...graph.nodes.values()].toSorted((a, b) => rank(a) - rank(b)).map(({ name }) => name);
}

/** Routers that bring packets on by some of the ways and not by all. */
function sharedRouters(
  graph: SiteGraph,
  alternatives: readonly ReadonlyMap<string, LinkSegment>[],
): ReadonlySet<string> {
  const feeding = alternatives.map((ways) => new Set([...ways.values()].map(({ from }) => from.node)));
  const all = new Set(feeding.flatMap((one) => [...one]));
  return new Set(
    [...all].filter((name) => graph.nodes.get(name)?.kind === "router" && !feeding.every((one) => one.has(name))),
  );
}
