import { type LinkSegment, planPlace, type SiteGraph, type SiteLink, type SiteNode, unfoldVlans } from "@dyetrace/site";

/**
 * The site's nodes and segments by number, so that trees over a large site are plain arrays. Traffic flows in the unfolded
 * site, in which a trunk or switch is a place of its own in each VLAN. After those places come the wholes, the trunks and
 * switches of the plan that several of them make up: nothing flows there, but they may fail as one.
 */
export interface SiteIndex {
  /** The unfolded site. */
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
  /** By the number of a part, the whole that it is part of; empty in a site without VLANs. */
  readonly wholeNode: ReadonlyMap<number, number>;
  readonly wholeSegment: ReadonlyMap<number, number>;
  /** Where a source has several ways: the number (see `waysFrom`) of the one taken to be in use. The first if not named. */
  readonly alternatives: ReadonlyMap<string, number>;
  readonly hasRouters: boolean;
  /** True where links close a loop: then routers choose ways. In a tree the links alone give them. */
  readonly hasLoops: boolean;
}

/** @param alternatives as in `SiteIndex` */
export function indexSite(plan: SiteGraph, alternatives: SiteIndex["alternatives"] = new Map()): SiteIndex {
  const graph = unfoldVlans(plan);
  const nodes = [...graph.nodes.values(), ...[...plan.nodes.values()].filter(({ name }) => !graph.nodes.has(name))];
  const nodeNumber = new Map(nodes.map((node, i) => [node.name, i]));
  const segments = [
    ...graph.segments.values(),
    ...[...plan.segments.values()].filter(({ id }) => !graph.segments.has(id)),
  ];
  const segmentNumber = new Map(segments.map((segment, i) => [segment.id, i]));
  const numberOf = (name: string): number => {
    const found = nodeNumber.get(name);
    if (found === undefined) throw new RangeError(`Site ${graph.name}: a segment names ${name}, which is no node`);
    return found;
  };
  const outgoing: number[][] = nodes.map(() => []);
  const reverse: number[] = segments.map(() => -1);
  const firstOfLink = new Map<SiteLink, number>();
  for (const [number, segment] of segments.entries()) {
    if (graph.segments.has(segment.id)) outgoing[numberOf(segment.from.node)]?.push(number);
    const other = firstOfLink.get(segment.link);
    if (other === undefined) {
      firstOfLink.set(segment.link, number);
    } else {
      reverse[number] = other;
      reverse[other] = number;
    }
  }
  const target = segments.map((segment) => numberOf(segment.to.node));
  const wholeNode = wholesOf(
    nodes.map(({ name }) => name),
    nodeNumber,
  );
  const wholeSegment = wholesOf(
    segments.map(({ id }) => id),
    segmentNumber,
  );
  return {
    graph,
    nodes,
    nodeNumber,
    segments,
    segmentNumber,
    outgoing,
    target,
    reverse,
    wholeNode,
    wholeSegment,
    alternatives,
    hasRouters: nodes.some(({ kind }) => kind === "router"),
    hasLoops: hasLoops(graph),
  };
}

/** A graph that is in several parts may pass for one with loops. */
export const hasLoops = ({ links, nodes }: SiteGraph): boolean => links.length >= nodes.size;

function wholesOf(names: readonly string[], numberOf: ReadonlyMap<string, number>): ReadonlyMap<number, number> {
  const wholes = new Map<number, number>();
  for (const [number, name] of names.entries()) {
    const whole = numberOf.get(planPlace(name));
    if (whole !== undefined && whole !== number) wholes.set(number, whole);
  }
  return wholes;
}

/** The place itself and, where it is part of one, its whole. */
export const withWhole = (wholes: ReadonlyMap<number, number>, place: number): number[] => {
  const whole = wholes.get(place);
  return whole === undefined ? [place] : [place, whole];
};
