import type { SiteIndex } from "../site/site-index.ts";
import { type ElementKind, type FailureElement, isGroupKind, type Silencer } from "./failure-element.ts";
import type { PathTrial } from "./path-trial.ts";

/** An element with the bad pairs that it would explain, ascending. */
export interface ExplainingElement {
  readonly element: FailureElement;
  readonly covers: number[];
}

/** Collects, pair by pair, the elements that would explain what was silent: each element once. */
export class ExplainingElements {
  readonly #site: SiteIndex;
  readonly #all: ExplainingElement[] = [];
  /** By kind and what it silences of a trial's kin, then by place. */
  readonly #known = new Map<string, Map<number, ExplainingElement>>();
  /** The same for the trial at hand, by kind alone: pairs come trial by trial. */
  readonly #ofTrial = new Map<ElementKind, Map<number, ExplainingElement>>();
  #trial: PathTrial | null = null;

  constructor(site: SiteIndex) {
    this.#site = site;
  }

  /** In the order in which they came. */
  get all(): readonly ExplainingElement[] {
    return this.#all;
  }

  /** @param pair number of the pair, none smaller than one before it */
  add({ kind, place }: Silencer, trial: PathTrial, pair: number): void {
    if (trial !== this.#trial) {
      this.#trial = trial;
      this.#ofTrial.clear();
    }
    const ofKind = this.#ofTrial.get(kind) ?? this.#placesOf(kind, trial);
    const number = kind === "cable" ? Math.min(place, this.#site.reverse[place] ?? place) : place;
    const known = ofKind.get(number);
    if (known === undefined) {
      const one = { element: { kind, place, groupKey: keyOf(this.#site, kind, trial) }, covers: [pair] };
      ofKind.set(number, one);
      this.#all.push(one);
    } else if (known.covers.at(-1) !== pair) {
      known.covers.push(pair);
    }
  }

  #placesOf(kind: ElementKind, trial: PathTrial): Map<number, ExplainingElement> {
    const key = `${kind} ${keyOf(this.#site, kind, trial) ?? ""}`;
    const places = this.#known.get(key) ?? new Map<number, ExplainingElement>();
    this.#known.set(key, places);
    this.#ofTrial.set(kind, places);
    return places;
  }
}

/** What an element of this kind silences of a trial's kin; null: everything. */
export function keyOf(
  site: SiteIndex,
  kind: ElementKind,
  { groupKey, tree }: Pick<PathTrial, "groupKey" | "tree">,
): string | null {
  if (isGroupKind(kind)) return groupKey;
  if (kind === "node-source") return `from ${site.nodes[tree.source]?.name}`;
  return kind === "node-any-source" ? `IPv${groupKey.includes(":") ? 6 : 4} without a source` : null;
}
