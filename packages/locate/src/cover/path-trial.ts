import type { TimeSpan } from "../run/run-observations.ts";
import { areReportsNeeded, countBelow } from "../site/needed-reports.ts";
import { type SiteIndex, withWhole } from "../site/site-index.ts";
import type { SourceTree } from "../site/source-tree.ts";
import type { Silencer } from "./failure-element.ts";

/** One try of getting packets of one group and size from one source to several hosts, and how it went at each. */
export interface PathTrial {
  readonly tree: SourceTree;
  /** What a group-specific fault would be specific to: the group, with the source where joins are source-specific. */
  readonly groupKey: string;
  /** True when listeners join (source, group): no rendezvous point has a part in it. Absent means false. */
  readonly isSourceSpecific?: boolean;
  readonly payloadBytes: number;
  /** How far the source's clock, which all times here are by, may be off from the common one. Absent: not at all. */
  readonly clockMs?: number;
  /** Node numbers of all that joined, whose reports keep ports open; null where no membership is needed. */
  readonly members: ReadonlySet<number> | null;
  readonly outcomes: readonly PathOutcome[];
}

export interface PathOutcome {
  /** Node number of the host. */
  readonly leaf: number;
  /** When the first and the last packet that came were sent; null when none came. Proves the path for that time. */
  readonly good: TimeSpan | null;
  /** Set when the trial ended in silence: the time in which nothing that was sent came. */
  readonly bad: TimeSpan | null;
  /** A path proves nothing about a silence by what came this shortly after its beginning. */
  readonly marginMs: number;
}

/**
 * For every node of the trial's tree: what on the step into it would silence everything below. The elements that would
 * silence a pair are those of all steps down to the listener, and the source's own.
 */
export function silencersByStep(
  site: SiteIndex,
  { tree, members, isSourceSpecific = false }: PathTrial,
): (node: number) => readonly Silencer[] {
  const below = members === null ? null : countBelow(site, tree, members);
  const steps = new Map<number, Silencer[]>();
  return (node) => {
    const known = steps.get(node);
    if (known !== undefined) return known;
    const segment = tree.into[node] ?? -1;
    const reverse = site.reverse[segment] ?? -1;
    const silencers: Silencer[] = [];
    // Switches know groups by VLAN, so what concerns one group concerns it in one VLAN.
    for (const place of withWhole(site.wholeSegment, segment)) {
      for (const kind of ["link", "direction", "cable"] as const) silencers.push({ kind, place });
    }
    silencers.push({ kind: "link-group", place: segment });
    const nodeKind = site.nodes[node]?.kind;
    if (nodeKind !== "host") {
      for (const place of withWhole(site.wholeNode, node)) silencers.push({ kind: "node", place });
      silencers.push({ kind: "node-group", place: node });
    }
    if (nodeKind === "router") {
      silencers.push({ kind: "node-source", place: node });
      if (!isSourceSpecific) silencers.push({ kind: "node-any-source", place: node });
    }
    if (below !== null && reverse !== -1 && areReportsNeeded(site, tree, node, below)) {
      for (const place of withWhole(site.wholeSegment, reverse)) {
        for (const kind of ["reports", "direction"] as const) silencers.push({ kind, place });
      }
      silencers.push({ kind: "reports-group", place: reverse });
    }
    steps.set(node, silencers);
    return silencers;
  };
}

/** What at the source's own host or node would silence all its pairs. */
export function silencersAtSource(site: SiteIndex, { tree }: PathTrial): Silencer[] {
  const place = tree.source;
  const own: Silencer[] = [
    { kind: "sender", place },
    { kind: "sender-group", place },
    { kind: "host", place },
  ];
  if (site.nodes[place]?.kind !== "host") own.push({ kind: "node", place }, { kind: "node-group", place });
  return own;
}

/** What at the listener itself would silence it. */
export const silencersAtListener = (leaf: number): Silencer[] => [
  { kind: "receiver", place: leaf },
  { kind: "receiver-group", place: leaf },
  { kind: "host", place: leaf },
];
