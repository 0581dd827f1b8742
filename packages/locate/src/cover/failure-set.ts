import type { SiteIndex } from "../site/site-index.ts";
import { nodesDownTo } from "../site/source-tree.ts";
import { answeringNodes, answeringSilencers } from "./answering-silencers.ts";
import { ClearedElements } from "./cleared-elements.ts";
import { ClassIndex, type ElementClass } from "./element-class.ts";
import { ExplainingElements } from "./explaining-elements.ts";
import { elementWeight, type FailureElement, isOnNode, type Silencer } from "./failure-element.ts";
import { type PathTrial, silencersAtListener, silencersAtSource, silencersByStep } from "./path-trial.ts";
import { smallestCovers } from "./smallest-cover.ts";

export interface BadPair<T extends PathTrial = PathTrial> {
  readonly trial: T;
  readonly outcome: T["outcomes"][number];
}

/** One fault that the smallest explanation needs. */
export interface NamedFailure<T extends PathTrial = PathTrial> {
  /** Everything that could stand in its place and still explain every bad pair; most likely first, never empty. */
  readonly elements: readonly FailureElement[];
  /** The bad pairs that it explains. */
  readonly pairs: readonly BadPair<T>[];
  /** Elements of other smallest explanations that no single exchange reaches. Also in `elements`, at its end. */
  readonly otherExplanations: number;
  /** Faults needed to explain the same pairs without any of `elements`; null when nothing else explains them. */
  readonly faultsOtherwise: number | null;
}

export interface FailureSet<T extends PathTrial = PathTrial> {
  readonly failures: readonly NamedFailure<T>[];
  /** Bad pairs with no uncleared element: the plan contradicts what was seen. */
  readonly unexplained: readonly BadPair<T>[];
  readonly cleared: ClearedElements;
  /** False when the search for the smallest explanation was cut short. */
  readonly isExact: boolean;
}

/**
 * Smallest consistent failure set: the fewest faults that explain every bad pair and contradict no good one. On one
 * tree that is the top link of every maximal silent subtree (N. Duffield, Simple network performance tomography, IMC
 * 2003); on several a minimum hitting set.
 */
export function smallestFailureSet<T extends PathTrial>(site: SiteIndex, trials: readonly T[]): FailureSet<T> {
  const pairs: BadPair<T>[] = trials.flatMap((trial) =>
    trial.outcomes.filter((outcome) => outcome.bad !== null).map((outcome) => ({ trial, outcome })),
  );
  const onBadWays = new Set(pairs.flatMap(({ trial, outcome }) => nodesDownTo(trial.tree, outcome.leaf)));
  for (const { trial } of pairs) onBadWays.add(trial.tree.source);
  for (const node of answeringNodesOf(site, pairs)) onBadWays.add(node);
  // What passes a switch or trunk in another VLAN says something about the whole.
  const wholes = new Set([...onBadWays].flatMap((node) => site.wholeNode.get(node) ?? []));
  for (const [part, whole] of site.wholeNode) if (wholes.has(whole)) onBadWays.add(part);
  const cleared = new ClearedElements(site, onBadWays.size === 0 ? [] : trials, onBadWays);
  const { classes, unexplained } = classesOf(site, pairs, cleared);
  const covers = smallestCovers(classes);
  const index = new ClassIndex(classes);
  const failures = covers.flatMap((cover) => {
    const choice = cover.choices[0] ?? [];
    const ambiguity = index.ambiguityOf(choice, cover.choices);
    return choice.map((number, position) => {
      const suspects = ambiguity[position] ?? { exchangeable: [number], others: [] };
      return {
        elements: [...suspects.exchangeable, ...suspects.others].flatMap((n) => classes[n]?.elements ?? []),
        pairs: (classes[number]?.covers ?? []).map((pair) => pairs[pair] as BadPair<T>),
        otherExplanations: suspects.others.length,
        faultsOtherwise: index.faultsWithout(number, suspects.exchangeable),
      };
    });
  });
  return { failures, unexplained, cleared, isExact: covers.every((cover) => cover.isExact) };
}

function answeringNodesOf(site: SiteIndex, pairs: readonly BadPair[]): Iterable<number> {
  if (!site.hasRouters) return [];
  const ways = pairs.flatMap(({ trial: { tree, groupKey }, outcome }) =>
    nodesDownTo(tree, outcome.leaf).map((node) => [tree, node, groupKey] as const),
  );
  return answeringNodes(site, ways);
}

interface UnclearedElements<T extends PathTrial> {
  readonly classes: ElementClass[];
  readonly unexplained: BadPair<T>[];
}

function classesOf<T extends PathTrial>(
  site: SiteIndex,
  pairs: readonly BadPair<T>[],
  cleared: ClearedElements,
): UnclearedElements<T> {
  const elements = new ExplainingElements(site);
  const unexplained: BadPair<T>[] = [];
  const onWay = silencersOfTrials(site);
  const beside = site.hasRouters ? bySteps((trial) => answeringSilencers(site, trial)) : () => [];
  for (const [number, { trial, outcome }] of pairs.entries()) {
    const { startMs = 0, endMs = 0 } = outcome.bad ?? {};
    const silence = { startMs: startMs + outcome.marginMs, endMs };
    let isExplained = false;
    for (const silencer of [...onWay(trial, outcome.leaf), ...beside(trial, outcome.leaf)]) {
      if (cleared.isCleared(silencer, trial, silence)) continue;
      isExplained = true;
      elements.add(silencer, trial, number);
    }
    if (!isExplained) unexplained.push({ trial, outcome });
  }

  const byCovers = new Map<string, ElementClass>();
  for (const { element, covers } of elements.all) {
    const key = covers.join(",");
    const weight = elementWeight(site, element);
    const same = byCovers.get(key);
    if (same === undefined) {
      byCovers.set(key, { covers, elements: [element], weight });
    } else {
      same.elements.push(element);
      same.weight = Math.min(same.weight, weight);
    }
  }
  const classes = [...byCovers.values()].map((one) => ({ ...one, elements: inOrder(site, one.elements) }));
  return { classes, unexplained };
}

/** All on the way that would silence a pair, from the source to the listener. */
export function silencersOfTrials(site: SiteIndex): (trial: PathTrial, leaf: number) => readonly Silencer[] {
  const ofStep = bySteps((trial) => silencersByStep(site, trial));
  return (trial, leaf) => [...silencersAtSource(site, trial), ...ofStep(trial, leaf), ...silencersAtListener(leaf)];
}

/** For every pair what its steps say, from the source to the listener; each trial is looked at once. */
function bySteps(
  ofTrial: (trial: PathTrial) => (node: number) => readonly Silencer[],
): (trial: PathTrial, leaf: number) => readonly Silencer[] {
  const known = new Map<PathTrial, (node: number) => readonly Silencer[]>();
  return (trial, leaf) => {
    const ofStep = known.get(trial) ?? ofTrial(trial);
    known.set(trial, ofStep);
    return nodesDownTo(trial.tree, leaf).flatMap(ofStep);
  };
}

/**
 * Most likely first: the segments that the data crosses, then nodes and hosts, then segments that only reports cross; in
 * each, all-group kinds before group kinds, and from the source downwards. A cut cable is left out where one direction
 * alone explains the same: that one is named. So is a router that would only fail one source, or only joins without a
 * source, where the router as such explains the same.
 */
function inOrder(site: SiteIndex, elements: readonly FailureElement[]): FailureElement[] {
  const crossed = new Set(elements.filter((e) => e.kind === "link" || e.kind === "link-group").map((e) => e.place));
  const directions = new Set(elements.filter((e) => e.kind === "direction").map((e) => e.place));
  const rank = ({ kind, place }: FailureElement): number => {
    if (isOnNode(kind)) return 1;
    if (crossed.size === 0) return kind === "reports" || kind === "reports-group" ? 2 : 0;
    return crossed.has(place) ? 0 : 2;
  };
  const nodes = new Set(elements.filter((e) => e.kind === "node").map((e) => e.place));
  return elements
    .filter((e) => !(e.kind === "node-source" || e.kind === "node-any-source") || !nodes.has(e.place))
    .filter((e) => e.kind !== "cable" || !(directions.has(e.place) || directions.has(site.reverse[e.place] ?? -1)))
    .sort((a, b) => rank(a) - rank(b) || elementWeight(site, a) - elementWeight(site, b));
}
