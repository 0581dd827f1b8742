import { areReportsNeeded, countBelow } from "../site/needed-reports.ts";
import { type SiteIndex, withWhole } from "../site/site-index.ts";
import { nodesDownTo, reaches, type SourceTree } from "../site/source-tree.ts";

/** A segment or node (or a part of one that may fail alone) and the pairs of source and listener that it silences. */
export interface Place {
  readonly name: string;
  /** As in `placeNumber`. */
  readonly number: number;
  /** Stands for the set of pairs. */
  readonly signature: number;
  /** The pairs themselves, ascending; null where there are too many to keep. */
  readonly pairs: readonly number[] | null;
}

/** With more pairs than this only their signatures are kept: a bound of effort, no source. */
const MOST_PAIRS_KEPT = 4_000;

/**
 * Sets of pairs, each by two sums of scattered numbers: equal sets have equal sums, others differ but for a chance of
 * 2^-53. Sets that are added have no pair in common.
 */
class PairSets {
  readonly #low: Uint32Array;
  readonly #high: Uint32Array;

  constructor(count: number) {
    this.#low = new Uint32Array(count);
    this.#high = new Uint32Array(count);
  }

  /** Hot path. @param set there may be none of this number, as there is no segment -1 */
  add(set: number, low: number, high: number): void {
    if (set < 0 || set >= this.#low.length) return;
    this.#low[set] = (this.#low[set] as number) + low;
    this.#high[set] = (this.#high[set] as number) + high;
  }

  /** Of the two sets together where a second is given. */
  signature(set: number, other: number | null = null): number {
    const low = (this.#low[set] ?? 0) + (other === null ? 0 : (this.#low[other] ?? 0));
    const high = (this.#high[set] ?? 0) + (other === null ? 0 : (this.#high[other] ?? 0));
    return signatureOf(low >>> 0, high >>> 0);
  }
}

/** Both sums in one number, as far as a double counts exactly. */
const signatureOf = (low: number, high: number): number => (high & 0x1f_ffff) * 2 ** 32 + low;

/** Signature of the union of two sets of pairs, each ascending. */
export function unionSignature(one: readonly number[], other: readonly number[]): number {
  const union = new PairSets(1);
  for (let i = 0, j = 0; i < one.length || j < other.length; ) {
    const [a, b] = [one[i] ?? Number.POSITIVE_INFINITY, other[j] ?? Number.POSITIVE_INFINITY];
    const pair = Math.min(a, b);
    union.add(0, scattered(pair, LOW), scattered(pair, HIGH));
    if (a === pair) i++;
    if (b === pair) j++;
  }
  return union.signature(0);
}

/** Signature of a place that silences nobody. */
export const NOTHING: number = signatureOf(0, 0);

/** Every segment and node with what it silences; once more where a part of it may fail alone. */
export function silencedBy(site: SiteIndex, pairSums: readonly PairSums[]): Place[] {
  const [segments, nodes] = [new PairSets(site.segments.length), new PairSets(site.nodes.length)];
  const [sent, received] = [new PairSets(site.nodes.length), new PairSets(site.nodes.length)];
  const listeners = pairSums.reduce((sum, { listening }) => sum + listening.size, 0);
  const pairs = listeners <= MOST_PAIRS_KEPT ? new Map<number, number[]>() : null;
  for (const sums of pairSums) {
    const { tree } = sums;
    const first = wholesByFirstStep(site, tree, sums);
    for (const node of tree.order) {
      const low = sums.low[node] ?? 0;
      const high = sums.high[node] ?? 0;
      const segment = tree.into[node] ?? -1;
      nodes.add(node, low, high);
      segments.add(segment, low, high);
      if (sums.needsReports(node)) segments.add(site.reverse[segment] ?? -1, low, high);
      const wholes = first.get(node);
      if (wholes !== undefined) {
        for (const whole of wholes.nodes) nodes.add(whole, low, high);
        for (const whole of wholes.segments) segments.add(whole, low, high);
      }
      if (node === tree.source) sent.add(node, low, high);
      else if (sums.listening.has(node))
        received.add(node, scattered(sums.pair(node), LOW), scattered(sums.pair(node), HIGH));
    }
    if (pairs !== null) keepPairs(site, tree, sums, pairs);
  }
  const place = (name: string, number: number, signature: number, key = number): Place => ({
    name,
    number,
    signature,
    pairs: pairs === null ? null : (pairs.get(key) ?? []),
  });
  // A host that sends and listens may fail in one of its parts only.
  const parts = site.nodes.flatMap(({ name }, n) => {
    const [ofSent, ofReceived] = [sent.signature(n), received.signature(n)];
    const number = site.segments.length + n;
    return ofSent === NOTHING || ofReceived === NOTHING
      ? []
      : [place(name, number, ofSent, senderKey(n)), place(name, number, ofReceived, receiverKey(n))];
  });
  return [
    ...site.segments.map(({ id }, n) => place(id, n, segments.signature(n))),
    ...site.nodes.map(({ name }, n) => place(name, site.segments.length + n, nodes.signature(n))),
    ...parts,
  ];
}

/**
 * What looks like less than a whole place: only the data or only the reports on a segment, both directions' data (a cut
 * cable), and one group of any of them. For finding out which other places such a fault could be taken for.
 * @param tell called with a signature and the numbers of places that have it (-1: none), for some more than once
 */
export function tellSilencedInPart(
  site: SiteIndex,
  pairSums: readonly PairSums[],
  tell: (signature: number, one: number, other: number, third: number) => void,
): void {
  const [data, reports] = [new PairSets(site.segments.length), new PairSets(site.segments.length)];
  for (const sums of pairSums) {
    const { tree } = sums;
    for (const node of tree.order) {
      const low = sums.low[node] ?? 0;
      const high = sums.high[node] ?? 0;
      if (low === 0 && high === 0) continue;
      const segment = tree.into[node] ?? -1;
      const reverse = sums.needsReports(node) ? (site.reverse[segment] ?? -1) : -1;
      data.add(segment, low, high);
      reports.add(reverse, low, high);
      if (pairSums.length > 1) tell(signatureOf(low, high), segment, reverse, site.segments.length + node);
    }
  }
  for (const number of site.segments.keys()) {
    const reverse = site.reverse[number] ?? -1;
    const own = data.signature(number);
    const isCable = own !== NOTHING && data.signature(reverse) !== NOTHING;
    const cable = isCable ? data.signature(number, reverse) : NOTHING;
    for (const signature of [own, reports.signature(number), cable]) {
      if (signature !== NOTHING) tell(signature, number, -1, -1);
    }
  }
}

/** For one source: the pairs of the listeners at or below every node, as sums. */
export interface PairSums {
  readonly tree: SourceTree;
  readonly low: Uint32Array;
  readonly high: Uint32Array;
  readonly listening: ReadonlySet<number>;
  pair(host: number): number;
  needsReports(node: number): boolean;
}

/** @param hosts listeners of every source but themselves */
export function pairSumsOf(site: SiteIndex, trees: readonly SourceTree[], hosts: readonly number[]): PairSums[] {
  return trees.map((tree, t) => sumsBelow(site, t, tree, hosts));
}

function sumsBelow(site: SiteIndex, t: number, tree: SourceTree, hosts: readonly number[]): PairSums {
  const listening = new Set(hosts.filter((host) => host !== tree.source && reaches(tree, host)));
  const below = countBelow(site, tree, listening);
  const [low, high] = [new Uint32Array(site.nodes.length), new Uint32Array(site.nodes.length)];
  const pair = (host: number): number => t * site.nodes.length + host;
  for (const host of listening) {
    low[host] = scattered(pair(host), LOW);
    high[host] = scattered(pair(host), HIGH);
  }
  for (let at = tree.order.length - 1; at > 0; at--) {
    const node = tree.order[at] ?? 0;
    const parent = tree.parent[node] ?? 0;
    low[parent] = (low[parent] ?? 0) + (low[node] ?? 0);
    high[parent] = (high[parent] ?? 0) + (high[node] ?? 0);
  }
  const needsReports = (node: number): boolean => areReportsNeeded(site, tree, node, below);
  return { tree, low, high, listening, pair, needsReports };
}

/** Keys of a host's parts, beside the places' own numbers from 0 up. */
const senderKey = (node: number): number => -1 - 2 * node;
const receiverKey = (node: number): number => -2 - 2 * node;

/** The pairs of every place by its number, ascending: trees come in order, and so do the hosts of each. */
function keepPairs(site: SiteIndex, tree: SourceTree, sums: PairSums, pairs: Map<number, number[]>): void {
  for (const host of [...sums.listening].sort((a, b) => a - b)) {
    const places = new Set([site.segments.length + tree.source, senderKey(tree.source), receiverKey(host)]);
    for (const node of nodesDownTo(tree, host)) {
      const segment = tree.into[node] ?? -1;
      for (const place of withWhole(site.wholeNode, node)) places.add(site.segments.length + place);
      for (const place of withWhole(site.wholeSegment, segment)) places.add(place);
      if (!sums.needsReports(node)) continue;
      for (const place of withWhole(site.wholeSegment, site.reverse[segment] ?? -1)) places.add(place);
    }
    for (const place of places) {
      const known = pairs.get(place);
      if (known === undefined) pairs.set(place, [sums.pair(host)]);
      else known.push(sums.pair(host));
    }
  }
}

interface Wholes {
  readonly nodes: readonly number[];
  readonly segments: readonly number[];
}

/**
 * For each step of a tree, the whole trunks and switches that the way crosses there for the first time: a way may come
 * back to a switch in another VLAN, and a pair counts once.
 */
function wholesByFirstStep(site: SiteIndex, tree: SourceTree, sums: PairSums): ReadonlyMap<number, Wholes> {
  const first = new Map<number, Wholes>();
  if (site.wholeNode.size === 0 && site.wholeSegment.size === 0) return first;
  const crossed = new Map<number, { readonly nodes: ReadonlySet<number>; readonly segments: ReadonlySet<number> }>();
  for (const node of tree.order) {
    const above = crossed.get(tree.parent[node] ?? -1);
    const segment = tree.into[node] ?? -1;
    const ways = sums.needsReports(node) ? [segment, site.reverse[segment] ?? -1] : [segment];
    const nodes = [node].flatMap((place) => site.wholeNode.get(place) ?? []);
    const segments = ways.flatMap((place) => site.wholeSegment.get(place) ?? []);
    first.set(node, {
      nodes: nodes.filter((whole) => above?.nodes.has(whole) !== true),
      segments: segments.filter((whole) => above?.segments.has(whole) !== true),
    });
    crossed.set(node, {
      nodes: new Set([...(above?.nodes ?? []), ...nodes]),
      segments: new Set([...(above?.segments ?? []), ...segments]),
    });
  }
  return first;
}

const LOW = 0x9e3779b9;
const HIGH = 0x85ebca6b;

/** A 32-bit mix in which neighbouring numbers have nothing in common. */
function scattered(number: number, salt: number): number {
  let mixed = Math.imul(number + 1, salt);
  mixed = Math.imul(mixed ^ (mixed >>> 16), 0x7feb352d);
  mixed = Math.imul(mixed ^ (mixed >>> 15), 0x846ca68b);
  return (mixed ^ (mixed >>> 16)) >>> 0;
}
