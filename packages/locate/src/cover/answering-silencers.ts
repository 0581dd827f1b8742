import { answeringRouters } from "../site/answering-routers.ts";
import { countBelow } from "../site/needed-reports.ts";
import { type SiteIndex, withWhole } from "../site/site-index.ts";
import type { SourceTree } from "../site/source-tree.ts";
import type { Silencer } from "./failure-element.ts";
import type { PathOutcome } from "./path-trial.ts";

/** Of a trial, what says who may answer for its members. */
export interface AnsweredTrial {
  readonly tree: SourceTree;
  readonly groupKey: string;
  readonly isSourceSpecific?: boolean;
  /** Node numbers; see `PathTrial`. */
  readonly members: ReadonlySet<number> | null;
  /** As in `PathTrial`; absent where nothing was received yet. */
  readonly outcomes?: readonly Pick<PathOutcome, "leaf" | "good" | "bad">[];
}

/**
 * What beside the way would silence a subnet into which a router forwards: another router answers for the members there,
 * so their reports must come to that one, and it must have asked for the packets. Only where all who want the stream
 * behind the forwarder sit in that subnet or behind that router: what a further router asks for comes in anyway. And only
 * where no member in that subnet is served: what it asked for comes to all of them.
 * Suspects only: where routers settle by some other rule who answers, packets that come prove nothing of it.
 * @returns for every node of the tree what would silence it so; nothing but for the first node below a forwarder
 */
export function answeringSilencers(site: SiteIndex, trial: AnsweredTrial): (node: number) => readonly Silencer[] {
  const { tree, members } = trial;
  if (!site.hasRouters || members === null) return () => [];
  const below = countBelow(site, tree, members);
  const served = new Set(
    trial.outcomes?.flatMap(({ leaf, good, bad }) => (good !== null && bad === null ? [leaf] : [])),
  );
  const steps = new Map<number, readonly Silencer[]>();
  return (node) => {
    const silencers = steps.get(node) ?? silencersBelow(site, trial, members, served, node, below);
    steps.set(node, silencers);
    return silencers;
  };
}

function silencersBelow(
  site: SiteIndex,
  { tree, groupKey, isSourceSpecific = false }: AnsweredTrial,
  members: ReadonlySet<number>,
  served: ReadonlySet<number>,
  node: number,
  below: Int32Array,
): Silencer[] {
  const forwarder = tree.parent[node] ?? -1;
  if (site.nodes[forwarder]?.kind !== "router") return [];
  const family = groupKey.includes(":") ? 6 : 4;
  return answeringRouters(site, forwarder, node, family).flatMap(({ router, into }): Silencer[] => {
    const own = [...members].filter((member) => into.has(member));
    const behindIt = tree.parent[router] !== -1 && into.has(tree.parent[router] ?? -1) ? (below[router] ?? 0) : 0;
    if (own.length === 0 || own.length + behindIt !== below[node]) return [];
    if (own.some((member) => served.has(member))) return [];
    const silencers: Silencer[] = [
      { kind: "node", place: router },
      { kind: "node-group", place: router },
      { kind: "node-source", place: router },
      ...(isSourceSpecific ? [] : [{ kind: "node-any-source", place: router } as const]),
    ];
    // What it asks for on others' behalf comes in whether it hears reports or not.
    if (behindIt > 0) return silencers;
    for (const segment of commonWay(site, own, into)) {
      const reverse = site.reverse[segment] ?? -1;
      for (const place of withWhole(site.wholeSegment, reverse)) {
        for (const kind of ["reports", "direction"] as const) silencers.push({ kind, place });
      }
      silencers.push({ kind: "reports-group", place: reverse });
    }
    return silencers;
  });
}

/** Segments from the router that the ways to all of the members have in common. */
function commonWay(site: SiteIndex, members: readonly number[], into: ReadonlyMap<number, number>): number[] {
  const times = new Map<number, number>();
  for (const member of members) {
    for (let at = member, segment = into.get(at); segment !== undefined; segment = into.get(at)) {
      times.set(segment, (times.get(segment) ?? 0) + 1);
      at = site.nodeNumber.get(site.segments[segment]?.from.node ?? "") ?? -1;
    }
  }
  return [...times].flatMap(([segment, count]) => (count === members.length ? [segment] : []));
}

/** Nodes of the subnets that routers on these ways forward into where another router may answer: they tell of it. */
export function answeringNodes(
  site: SiteIndex,
  ways: Iterable<readonly [tree: SourceTree, node: number, groupKey: string]>,
): Set<number> {
  const nodes = new Set<number>();
  for (const [tree, node, groupKey] of ways) {
    const forwarder = tree.parent[node] ?? -1;
    if (site.nodes[forwarder]?.kind !== "router") continue;
    for (const { router, into } of answeringRouters(site, forwarder, node, groupKey.includes(":") ? 6 : 4)) {
      nodes.add(router);
      for (const inside of into.keys()) nodes.add(inside);
    }
  }
  return nodes;
}
