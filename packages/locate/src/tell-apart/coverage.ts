import type { SiteGraph } from "@dyetrace/site";
import { groupBy } from "@dyetrace/wire";
import { indexSite, type SiteIndex } from "../site/site-index.ts";
import { type SourceTree, sourceTree } from "../site/source-tree.ts";
import { bestListener, listenerChoices, type NextListener } from "./next-listener.ts";
import { NOTHING, type Place, pairSumsOf, silencedBy, tellSilencedInPart, unionSignature } from "./silenced-pairs.ts";

export interface Coverage {
  /** Sets of segments and nodes that one fault in any of them would make look the same, largest first. */
  readonly ambiguousSets: readonly (readonly string[])[];
  /** Segments and nodes that a single fault would be pinned to. */
  readonly pinned: readonly string[];
  /** Segments and nodes that no stream of this run can test. */
  readonly untested: readonly string[];
  /** Where one more listener would split the largest set best; null when none would. */
  readonly nextAgentAt: string | null;
  /** What it would tell, in bits (1 bit halves the suspects). */
  readonly nextAgentGainBits: number | null;
  /** Share of the pairs of single faults, and of pairs of faults, that look different (0 to 1); null with no pair. */
  readonly separableRatio: number | null;
  readonly separablePairsRatio: number | null;
}

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
  const pairSums = pairSumsOf(site, trees, hosts);
  const places = silencedBy(site, pairSums);
  const sets = groupBy(places, ({ signature }) => signature);
  const untested = sets.get(NOTHING) ?? [];
  sets.delete(NOTHING);
  const addPart = (set: Place[], number: number, signature: number): void => {
    if (number === -1 || set.some((other) => other.number === number)) return;
    const name = site.segments[number]?.id ?? site.nodes[number - site.segments.length]?.name ?? "";
    set.push({ name, number, signature, pairs: set[0]?.pairs ?? null });
  };
  tellSilencedInPart(site, pairSums, (signature, one, other, third) => {
    // A fault of a part only counts where it looks like the fault of a whole place.
    const set = sets.get(signature);
    if (set === undefined) return;
    addPart(set, one, signature);
    addPart(set, other, signature);
    addPart(set, third, signature);
  });
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

const numbersOf = (site: SiteIndex, names: readonly string[]): number[] =>
  [...new Set(names)].flatMap((name) => site.nodeNumber.get(name) ?? []);

/** One more listener beside any node: the largest set that it splits, and the node where it splits it best. */
function bestNextAgent(
  site: SiteIndex,
  trees: readonly SourceTree[],
  sets: readonly (readonly Place[])[],
): NextListener | null {
  const choices = listenerChoices(site, trees);
  // Who hears nothing of a set tells nothing about it, and most sets are a host and its link, which no other listener hears.
  const hearing = new Map<number, number[]>();
  for (const [number, { heardFrom }] of choices.entries()) {
    for (const place of heardFrom.keys()) {
      const known = hearing.get(place);
      if (known === undefined) hearing.set(place, [number]);
      else known.push(number);
    }
  }
  for (const set of sets) {
    const places = set.map(({ number }) => number);
    const concerned = new Set(places.flatMap((place) => hearing.get(place) ?? []));
    if (concerned.size === 0) continue;
    const best = bestListener(
      [...concerned].sort((a, b) => a - b).flatMap((number) => choices[number] ?? []),
      places,
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

/** Beyond this many classes their pairs are too many to compare: a bound of effort, no source. */
const MOST_CLASSES_FOR_PAIRS = 50;

/** Share of the couples of double faults (of two classes each) that look different. */
function separablePairsRatio(classes: readonly (readonly Place[])[]): number | null {
  const pairsOf = classes.map((set) => set[0]?.pairs ?? null);
  if (classes.length < 3 || classes.length > MOST_CLASSES_FOR_PAIRS || pairsOf.includes(null)) return null;
  const looks = new Map<number, number>();
  let doubles = 0;
  for (const [i, first] of pairsOf.entries()) {
    for (const second of pairsOf.slice(i + 1)) {
      const key = unionSignature(first ?? [], second ?? []);
      looks.set(key, (looks.get(key) ?? 0) + 1);
      doubles++;
    }
  }
  let same = 0;
  for (const times of looks.values()) same += (times * (times - 1)) / 2;
  return 1 - same / ((doubles * (doubles - 1)) / 2);
}
