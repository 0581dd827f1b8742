import { type SiteIndex, withWhole } from "../site/site-index.ts";
import { nodesDownTo, type SourceTree } from "../site/source-tree.ts";

/** Where one more listener would tell most about a set of suspects. */
export interface NextListener {
  /** Name of the node beside which it would sit. */
  readonly name: string;
  /** Entropy of what it would see, every suspect being as likely as the next: 1 bit halves them. */
  readonly gainBits: number;
}

/** A place beside a node, with the suspects that a listener there would depend on. */
export interface ListenerChoice {
  readonly name: string;
  /** By place number: one bit for each source whose way to the listener leads through the place. */
  readonly heardFrom: ReadonlyMap<number, number>;
}

/** More sources than this hardly change where the next listener is worth most (and a number holds no more bits). A bound of effort, no source. */
const MOST_SOURCES = 16;

/** Segments by their number, nodes counted on from the last segment. Null for a name that the plan does not know. */
export function placeNumber(site: SiteIndex, name: string): number | null {
  const node = site.nodeNumber.get(name);
  return site.segmentNumber.get(name) ?? (node === undefined ? null : site.segments.length + node);
}

/** Every node that can have one more host beside it. */
export function listenerChoices(site: SiteIndex, trees: readonly SourceTree[]): ListenerChoice[] {
  return [...site.nodes.entries()]
    .filter(([, node]) => node.kind !== "host" && site.graph.nodes.has(node.name))
    .map(([number, { name }]) => ({ name, heardFrom: heardFrom(site, trees.slice(0, MOST_SOURCES), number) }));
}

/** The same for one set of sources after the other, as the stops of a run ask for it: each set is worked out once. */
export class ListenerChoices {
  readonly #site: SiteIndex;
  readonly #known = new Map<string, readonly ListenerChoice[]>();

  constructor(site: SiteIndex) {
    this.#site = site;
  }

  of(trees: readonly SourceTree[]): readonly ListenerChoice[] {
    const key = trees.map(({ source }) => source).join(" ");
    const known = this.#known.get(key) ?? listenerChoices(this.#site, trees);
    this.#known.set(key, known);
    return known;
  }
}

/** The choice with the greatest gain, the plan's order breaking ties; null when none would tell anything. */
export function bestListener(choices: readonly ListenerChoice[], suspects: readonly number[]): NextListener | null {
  let best: NextListener | null = null;
  for (const choice of choices) {
    const gainBits = gainOf(choice, suspects);
    if (gainBits > (best?.gainBits ?? 0) + 1e-9) best = { name: choice.name, gainBits };
  }
  return best;
}

/** The way to the listener, and the way of its reports back. */
function heardFrom(site: SiteIndex, trees: readonly SourceTree[], node: number): Map<number, number> {
  const bits = new Map<number, number>();
  for (const [t, tree] of trees.entries()) {
    const add = (place: number): Map<number, number> => bits.set(place, (bits.get(place) ?? 0) | (1 << t));
    add(site.segments.length + tree.source);
    for (const step of nodesDownTo(tree, node)) {
      const segment = tree.into[step] ?? -1;
      for (const place of withWhole(site.wholeSegment, segment)) add(place);
      for (const place of withWhole(site.wholeSegment, site.reverse[segment] ?? -1)) add(place);
      for (const place of withWhole(site.wholeNode, step)) add(site.segments.length + place);
    }
  }
  return bits;
}

function gainOf({ heardFrom }: ListenerChoice, suspects: readonly number[]): number {
  const outcomes = new Map<number, number>();
  for (const suspect of suspects) {
    const outcome = heardFrom.get(suspect) ?? 0;
    outcomes.set(outcome, (outcomes.get(outcome) ?? 0) + 1);
  }
  let bits = 0;
  if (outcomes.size < 2) return bits;
  for (const times of outcomes.values()) bits -= (times / suspects.length) * Math.log2(times / suspects.length);
  return bits;
}
