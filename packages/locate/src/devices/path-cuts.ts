import { type LinkSegment, planPlace } from "@dyetrace/site";
import type { SiteIndex } from "../site/site-index.ts";
import { isAtOrBelow, nodesDownTo, type SourceTree } from "../site/source-tree.ts";

/**
 * The way from a source to a listener, as counters divide it. Each link is crossed in steps: the sender's side of its port up to
 * the counter of what goes out, the wire, the receiver's side behind the counter of what comes in, the node behind it.
 */
export interface CountedPath {
  readonly source: string;
  readonly listener: string;
  /** From the source downwards. */
  readonly segments: readonly LinkSegment[];
  /** By link: whether the node above it sends down only what is asked for there, as switches and routers do. */
  readonly isAskedFor: readonly boolean[];
  /** By link: whether somebody below it got the streams, so that they were asked for by others as well. */
  readonly isForOthers: readonly boolean[];
}

const STEPS_OF_LINK = 6;
/** Within one link's steps; a counter stands at OUT and at IN. */
const SENDING_SIDE = 0;
export const OUT = 1;
const WIRE = 2;
export const IN = 3;
const RECEIVING_SIDE = 4;
const NODE = 5;

export const stepOf = (link: number, step: number): number => link * STEPS_OF_LINK + step;

/** @param served numbers of the hosts that got the streams */
export function countedPath(
  site: SiteIndex,
  tree: SourceTree,
  leaf: number,
  served: readonly number[] = [],
): CountedPath {
  const nodes = nodesDownTo(tree, leaf);
  const kindAbove = (node: number): string | undefined => site.nodes[tree.parent[node] ?? -1]?.kind;
  return {
    source: site.nodes[tree.source]?.name ?? "",
    listener: site.nodes[leaf]?.name ?? "",
    segments: nodes.flatMap((node) => site.segments[tree.into[node] ?? -1] ?? []),
    isAskedFor: nodes.map((node) => kindAbove(node) === "switch" || kindAbove(node) === "router"),
    isForOthers: nodes.map((node) => served.some((host) => isAtOrBelow(tree, host, node))),
  };
}

/** A place where data may end, and how likely the suspect fails just there: the parts of one suspect add up to 1. */
export interface Cut {
  /** As `stepOf` counts. */
  readonly step: number;
  readonly share: number;
  /** The link that membership reports do not come up; null where it is the data that is lost. */
  readonly reportsLostAt: number | null;
}

/** Most of what fails on a link fails on the wire. Our estimate, no source. */
const WIRE_SHARE = 0.5;
const SIDE_SHARE = 0.25;

/**
 * Where the stream ends on this way if the suspect fails.
 * @param suspect segment id or node name @returns none where the way does not touch it
 */
export function cutsOf(path: CountedPath, suspect: string): readonly Cut[] {
  const { source, segments } = path;
  const isPlace = (place: string): boolean => place === suspect || planPlace(place) === suspect;
  const cut = (link: number, step: number, share: number): Cut => ({
    ...{ step: stepOf(link, step), share, reportsLostAt: null },
  });
  if (isPlace(source)) return [cut(0, SENDING_SIDE, 1)];
  for (const [link, { id, from, to }] of segments.entries()) {
    if (isPlace(id)) {
      return [cut(link, SENDING_SIDE, SIDE_SHARE), cut(link, WIRE, WIRE_SHARE), cut(link, RECEIVING_SIDE, SIDE_SHARE)];
    }
    if (isPlace(to.node)) return [cut(link, NODE, 1)];
    const up = `${planPlace(to.node)}:${to.port}>${planPlace(from.node)}:${from.port}`;
    if (planPlace(suspect) === up) return reportCuts(path, link);
  }
  return [];
}

/**
 * Where reports are lost that come up a link, the next node above that goes by reports does not send down; and where nobody else
 * below asks for the same, those above it may not either.
 */
function reportCuts({ isAskedFor, isForOthers }: CountedPath, lostAt: number): readonly Cut[] {
  const links: number[] = [];
  for (let link = lostAt; link >= 0; link--) {
    if (links.length > 0 && isForOthers[link] === true) break;
    if (isAskedFor[link] === true) links.push(link);
  }
  return links.map((link) => ({
    ...{ step: stepOf(link, SENDING_SIDE), share: 1 / links.length, reportsLostAt: lostAt },
  }));
}

/** Every place on the way, for holding what suspects foretell against what anything else would. */
export const allCuts = ({ segments }: CountedPath): readonly number[] =>
  segments.flatMap((_, link) => [SENDING_SIDE, WIRE, RECEIVING_SIDE, NODE].map((step) => stepOf(link, step)));
