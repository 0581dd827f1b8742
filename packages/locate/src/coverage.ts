import type { SiteGraph } from "@dyetrace/site";
import type { Coverage } from "./conclusion.ts";
import { areReportsNeeded, countBelow } from "./needed-reports.ts";
import { indexSite, type SiteIndex } from "./site-index.ts";
import { nodesDownTo, reaches, type SourceTree, sourceTree } from "./source-tree.ts";

/**
 * What agents in these places can tell apart, before anything is sent. A dead direction of a link silences the pairs of
 * source and listener whose data flows along it, and those whose membership reports do and are needed; a dead node
 * silences all pairs through it. Two single faults look the same when they silence the same pairs.
 * @param sources hosts that send
 * @param listeners hosts that join every stream
 */
export function coverage(graph: SiteGraph, sources: readonly string[], listeners: readonly string[]): Coverage {
  const site = indexSite(graph);
  const trees = numbersOf(site, sources).map((source) => sourceTree(site, source));
  const hosts = numbersOf(site, listeners);
  const places = silencedBy(site, trees, hosts);
  const sets = new Map<string, Place[]>();
  for (const place of places) {
    const key = place.pairs.join(",");
    const set = sets.get(key);
    if (set === undefined) sets.set(key, [place]);
    else set.push(place);
  }
  const untested = sets.get("") ?? [];
  sets.delete("");
  const classes = [...sets.values()];
  const ambiguous = classes.filter((set) => set.length > 1).sort((a, b) => b.length - a.length);
  const next = bestNextAgent(site, trees, ambiguous);
  return {
    ambiguousSets: ambiguous.map((set) => set.map((place) => place.name)),
    pinned: classes.filter((set) => set.length === 1).flatMap((set) => set.map((place) => place.name)),
    untested: untested.map((place) => place.name),
    nextAgentAt: next?.name ?? null,
    nextAgentGainBits: next?.gainBits ?? null,
    separableRatio: separableRatio(classes),
    separablePairsRatio: separablePairsRatio(classes),
  };
}

interface Place {
  readonly name: string;
  /** Segment number, or the node's number counted on from the last segment. */
  readonly number: number;
  /** Pairs of source and listener that its fault silences, ascending. */
  readonly pairs: readonly number[];
}

const numbersOf = (site: SiteIndex, names: readonly string[]): number[] => [
  ...new Set(names.flatMap((name) => site.nodeNumber.get(name) ?? [])),
];

function silencedBy(site: SiteIndex, trees: readonly SourceTree[], hosts: readonly number[]): Place[] {
  const segments: Set<number>[] = site.segments.map(() => new Set());
  const nodes: Set<number>[] = site.nodes.map(() => new Set());
  for (const [t, tree] of trees.entries()) {
    const listening = hosts.filter((host) => host !== tree.source && reaches(tree, host));
    const below = countBelow(site, tree, listening);
    for (const [h, host] of listening.entries()) {
      const pair = t * hosts.length + h;
      nodes[tree.source]?.add(pair);
      for (const node of nodesDownTo(tree, host)) {
        const segment = tree.into[node] ?? -1;
        nodes[node]?.add(pair);
        segments[segment]?.add(pair);
        if (areReportsNeeded(site, tree, node, below)) segments[site.reverse[segment] ?? -1]?.add(pair);
      }
    }
  }
  const ascending = (pairs: ReadonlySet<number>): number[] => [...pairs].sort((a, b) => a - b);
  return [
    ...site.segments.map((s, i) => ({ name: s.id, number: i, pairs: ascending(segments[i] ?? new Set()) })),
    ...site.nodes.map((n, i) => ({
      name: n.name,
      number: site.segments.length + i,
      pairs: ascending(nodes[i] ?? new Set()),
    })),
  ];
}

interface NextAgent {
  readonly name: string;
  readonly gainBits: number;
}

/** One more listener beside any node: the largest set that it splits, and the node where it splits it best. */
function bestNextAgent(
  site: SiteIndex,
  trees: readonly SourceTree[],
  sets: readonly (readonly Place[])[],
): NextAgent | null {
  for (const set of sets) {
    let best: NextAgent | null = null;
    for (const [number, node] of site.nodes.entries()) {
      if (node.kind === "host") continue;
      const gainBits = splitGainBits(site, trees, set, number);
      if (gainBits > (best?.gainBits ?? 0) + 1e-9) best = { name: node.name, gainBits };
    }
    if (best !== null) return best;
  }
  return null;
}

/** Entropy of what the new listener would see, every suspect of the set being as likely as the next. */
function splitGainBits(site: SiteIndex, trees: readonly SourceTree[], set: readonly Place[], node: number): number {
  const outcomes = new Map<string, number>();
  const onPaths = trees.map((tree) => {
    const on = new Set<number>([site.segments.length + tree.source]);
    for (const step of nodesDownTo(tree, node)) {
      const segment = tree.into[step] ?? -1;
      on.add(segment)
        .add(site.reverse[segment] ?? -1)
        .add(site.segments.length + step);
    }
    return on;
  });
  for (const place of set) {
    const outcome = onPaths.map((on) => (on.has(place.number) ? "1" : "0")).join("");
    outcomes.set(outcome, (outcomes.get(outcome) ?? 0) + 1);
  }
  let bits = 0;
  for (const times of outcomes.values()) bits -= (times / set.length) * Math.log2(times / set.length);
  return bits;
}

/** Share of the pairs of tested places that a single fault tells apart. */
function separableRatio(classes: readonly (readonly Place[])[]): number | null {
  const places = classes.reduce((sum, set) => sum + set.length, 0);
  const same = classes.reduce((sum, set) => sum + (set.length * (set.length - 1)) / 2, 0);
  const all = (places * (places - 1)) / 2;
  return all === 0 ? null : 1 - same / all;
}

/** Beyond this many classes their pairs are too many to compare. */
const MOST_CLASSES_FOR_PAIRS = 120;

/** Share of the couples of double faults (of two classes each) that look different. */
function separablePairsRatio(classes: readonly (readonly Place[])[]): number | null {
  if (classes.length < 3 || classes.length > MOST_CLASSES_FOR_PAIRS) return null;
  const looks = new Map<string, number>();
  let doubles = 0;
  for (const [i, first] of classes.entries()) {
    for (const second of classes.slice(i + 1)) {
      const union = new Set([...(first[0]?.pairs ?? []), ...(second[0]?.pairs ?? [])]);
      const key = [...union].sort((a, b) => a - b).join(",");
      looks.set(key, (looks.get(key) ?? 0) + 1);
      doubles++;
    }
  }
  let same = 0;
  for (const times of looks.values()) same += (times * (times - 1)) / 2;
  return 1 - same / ((doubles * (doubles - 1)) / 2);
}
