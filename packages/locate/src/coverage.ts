import type { SiteGraph } from "@dyetrace/site";
import type { Coverage } from "./conclusion.ts";
import { areReportsNeeded, countBelow } from "./needed-reports.ts";
import { bestListener, listenerChoices, type NextListener } from "./next-listener.ts";
import { indexSite, type SiteIndex } from "./site-index.ts";
import { reaches, type SourceTree, sourceTree } from "./source-tree.ts";

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
    const set = sets.get(place.signature);
    if (set === undefined) sets.set(place.signature, [place]);
    else set.push(place);
  }
  const untested = sets.get(NOTHING) ?? [];
  sets.delete(NOTHING);
  const classes = [...sets.values()];
  const ambiguous = classes.filter((set) => set.length > 1).sort((a, b) => b.length - a.length);
  const inAmbiguous = new Set(ambiguous.flat().map((one) => one.name));
  const alone = classes.flatMap((set) => (set.length === 1 ? set.map((one) => one.name) : []));
  const next = bestNextAgent(site, trees, ambiguous);
  return {
    ambiguousSets: ambiguous.map((set) => set.map((place) => place.name)),
    pinned: [...new Set(alone)].filter((name) => !inAmbiguous.has(name)),
    untested: untested.map((place) => place.name),
    nextAgentAt: next?.name ?? null,
    nextAgentGainBits: next?.gainBits ?? null,
    separableRatio: separableRatio(classes),
    separablePairsRatio: separablePairsRatio(classes),
  };
}

interface Place {
  readonly name: string;
  /** As in `placeNumber`. */
  readonly number: number;
  /** Stands for the set of pairs of source and listener that a fault of the place silences. */
  readonly signature: string;
  /** The pairs themselves, ascending; null where there are too many to keep. */
  readonly pairs: readonly number[] | null;
}

const numbersOf = (site: SiteIndex, names: readonly string[]): number[] => [
  ...new Set(names.flatMap((name) => site.nodeNumber.get(name) ?? [])),
];

/** A set of pairs by two sums of scattered numbers: equal sets have equal sums, others differ but for a chance of 2^-53. */
class PairSet {
  #low = 0;
  #high = 0;
  readonly pairs: number[] = [];

  add(pair: number, keepsPair: boolean): void {
    this.#low = (this.#low + scattered(pair, 0x9e3779b9)) >>> 0;
    this.#high = (this.#high + scattered(pair, 0x85ebca6b)) >>> 0;
    if (keepsPair) this.pairs.push(pair);
  }

  get signature(): string {
    return `${this.#low} ${this.#high}`;
  }
}

const NOTHING = new PairSet().signature;

function scattered(number: number, salt: number): number {
  let mixed = Math.imul(number + 1, salt);
  mixed = Math.imul(mixed ^ (mixed >>> 16), 0x7feb352d);
  mixed = Math.imul(mixed ^ (mixed >>> 15), 0x846ca68b);
  return (mixed ^ (mixed >>> 16)) >>> 0;
}

function silencedBy(site: SiteIndex, trees: readonly SourceTree[], hosts: readonly number[]): Place[] {
  const setsOf = (items: readonly unknown[]): PairSet[] => items.map(() => new PairSet());
  const [segments, nodes] = [setsOf(site.segments), setsOf(site.nodes)];
  const [reports, data] = [setsOf(site.segments), setsOf(site.segments)];
  const [sent, received] = [setsOf(site.nodes), setsOf(site.nodes)];
  const keepsPairs = trees.length * hosts.length <= MOST_PAIRS_KEPT;
  for (const [t, tree] of trees.entries()) {
    const listening = hosts.filter((host) => host !== tree.source && reaches(tree, host));
    const below = countBelow(site, tree, listening);
    const needsReports = new Set(tree.order.filter((node) => areReportsNeeded(site, tree, node, below)));
    for (const [h, host] of listening.entries()) {
      const pair = t * hosts.length + h;
      for (const set of [nodes[tree.source], sent[tree.source], received[host]]) set?.add(pair, keepsPairs);
      for (let node = host; node !== tree.source && node !== -1; node = tree.parent[node] ?? -1) {
        const segment = tree.into[node] ?? -1;
        nodes[node]?.add(pair, keepsPairs);
        segments[segment]?.add(pair, keepsPairs);
        data[segment]?.add(pair, keepsPairs);
        if (!needsReports.has(node)) continue;
        segments[site.reverse[segment] ?? -1]?.add(pair, keepsPairs);
        reports[site.reverse[segment] ?? -1]?.add(pair, keepsPairs);
      }
    }
  }
  const place = (name: string, number: number, set = new PairSet()): Place => ({
    name,
    number,
    signature: set.signature,
    pairs: keepsPairs ? set.pairs.sort((a, b) => a - b) : null,
  });
  // Where data and needed reports cross a segment, the reports alone may be lost.
  const reportsOnly = site.segments.flatMap(({ id }, n) =>
    data[n]?.signature === NOTHING || reports[n]?.signature === NOTHING ? [] : place(id, n, reports[n]),
  );
  // A host that sends and listens may fail in one of its parts only.
  const parts = site.nodes.flatMap(({ name }, n) => {
    const both = [sent[n], received[n]].filter((set) => set !== undefined && set.signature !== NOTHING);
    return both.length < 2 ? [] : both.map((set) => place(name, site.segments.length + n, set));
  });
  return [
    ...site.segments.map(({ id }, n) => place(id, n, segments[n])),
    ...site.nodes.map(({ name }, n) => place(name, site.segments.length + n, nodes[n])),
    ...reportsOnly,
    ...parts,
  ];
}

/** With more pairs than this only their signatures are kept, and double faults are not looked at. */
const MOST_PAIRS_KEPT = 4_000;

/** One more listener beside any node: the largest set that it splits, and the node where it splits it best. */
function bestNextAgent(
  site: SiteIndex,
  trees: readonly SourceTree[],
  sets: readonly (readonly Place[])[],
): NextListener | null {
  const choices = listenerChoices(site, trees);
  for (const set of sets) {
    const best = bestListener(
      choices,
      set.map((place) => place.number),
    );
    if (best !== null) return best;
  }
  return null;
}

/** Share of the pairs of tested places that a single fault tells apart. */
function separableRatio(classes: readonly (readonly Place[])[]): number | null {
  const places = classes.reduce((sum, set) => sum + set.length, 0);
  const same = classes.reduce((sum, set) => sum + (set.length * (set.length - 1)) / 2, 0);
  const all = (places * (places - 1)) / 2;
  return all === 0 ? null : 1 - same / all;
}

/** Beyond this many classes their pairs are too many to compare. */
const MOST_CLASSES_FOR_PAIRS = 50;

/** Share of the couples of double faults (of two classes each) that look different. */
function separablePairsRatio(classes: readonly (readonly Place[])[]): number | null {
  const pairsOf = classes.map((set) => set[0]?.pairs ?? null);
  if (classes.length < 3 || classes.length > MOST_CLASSES_FOR_PAIRS || pairsOf.includes(null)) return null;
  const looks = new Map<string, number>();
  let doubles = 0;
  for (const [i, first] of pairsOf.entries()) {
    for (const second of pairsOf.slice(i + 1)) {
      const union = new Set([...(first ?? []), ...(second ?? [])]);
      const key = [...union].sort((a, b) => a - b).join(",");
      looks.set(key, (looks.get(key) ?? 0) + 1);
      doubles++;
    }
  }
  let same = 0;
  for (const times of looks.values()) same += (times * (times - 1)) / 2;
  return 1 - same / ((doubles * (doubles - 1)) / 2);
}
