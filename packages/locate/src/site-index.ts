import type { LinkSegment, SiteGraph, SiteNode } from "@dyetrace/site";

/** The site's nodes and segments by number, so that trees over a large site are plain arrays. */
export interface SiteIndex {
  readonly graph: SiteGraph;
  readonly nodes: readonly SiteNode[];
  readonly nodeNumber: ReadonlyMap<string, number>;
  readonly segments: readonly LinkSegment[];
  readonly segmentNumber: ReadonlyMap<string, number>;
  /** Numbers of the segments that leave a node, by the node's number. */
  readonly outgoing: readonly (readonly number[])[];
  /** Number of the node that a segment leads to, by the segment's number. */
  readonly target: readonly number[];
  /** Number of the same link's other direction, by the segment's number. */
  readonly reverse: readonly number[];
}

export function indexSite(graph: SiteGraph): SiteIndex {
  const nodes = [...graph.nodes.values()];
  const nodeNumber = new Map(nodes.map((node, i) => [node.name, i]));
  const segments = [...graph.segments.values()];
  const segmentNumber = new Map(segments.map((segment, i) => [segment.id, i]));
  const numberOf = (name: string): number => {
    const found = nodeNumber.get(name);
    if (found === undefined) throw new RangeError(`Site ${graph.name}: a segment names ${name}, which is no node`);
    return found;
  };
  const outgoing: number[][] = nodes.map(() => []);
  const reverse: number[] = segments.map(() => -1);
  const firstOfLink = new Map<number, number>();
  for (const [number, segment] of segments.entries()) {
    outgoing[numberOf(segment.from.node)]?.push(number);
    const other = firstOfLink.get(segment.link.index);
    if (other === undefined) {
      firstOfLink.set(segment.link.index, number);
    } else {
      reverse[number] = other;
      reverse[other] = number;
    }
  }
  const target = segments.map((segment) => numberOf(segment.to.node));
  return { graph, nodes, nodeNumber, segments, segmentNumber, outgoing, target, reverse };
}
