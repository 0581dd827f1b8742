import type { FailureElement } from "./failure-element.ts";
import { includesAll } from "./smallest-cover.ts";

/** Elements that explain exactly the same pairs: no observation of this run tells them apart. */
export interface ElementClass {
  /** Numbers of pairs, ascending. */
  readonly covers: readonly number[];
  readonly elements: FailureElement[];
  weight: number;
}

export interface Ambiguity {
  /** Classes that can take the chosen one's place, itself first. */
  readonly exchangeable: readonly number[];
  readonly others: readonly number[];
}

/** The classes of a run, and by pair those that explain it, so that a question about one fault looks at its own pairs only. */
export class ClassIndex {
  readonly #classes: readonly ElementClass[];
  /** Ascending. */
  readonly #byPair = new Map<number, number[]>();

  constructor(classes: readonly ElementClass[]) {
    this.#classes = classes;
    for (const [number, { covers }] of classes.entries()) {
      for (const pair of covers) {
        const list = this.#byPair.get(pair);
        if (list === undefined) this.#byPair.set(pair, [number]);
        else list.push(number);
      }
    }
  }

  /** For every class of the choice: what may stand in its place. */
  ambiguityOf(choice: readonly number[], choices: readonly (readonly number[])[]): Ambiguity[] {
    const timesCovered = new Map<number, number>();
    for (const number of choice) {
      for (const pair of this.#coversOf(number)) timesCovered.set(pair, (timesCovered.get(pair) ?? 0) + 1);
    }
    const exchangeable = choice.map((number) => {
      const own = this.#coversOf(number).filter((pair) => timesCovered.get(pair) === 1);
      const inPlace = this.#explainingAll(own).filter((n) => n !== number);
      inPlace.sort((a, b) => (this.#classes[a]?.weight ?? 0) - (this.#classes[b]?.weight ?? 0));
      return [number, ...inPlace];
    });
    const reached = new Set(exchangeable.flat());
    const others: number[][] = choice.map(() => []);
    for (const number of new Set(choices.flat())) {
      if (reached.has(number)) continue;
      const shared = choice.map((chosen) => sharedCount(this.#coversOf(chosen), this.#coversOf(number)));
      others[shared.indexOf(Math.max(...shared))]?.push(number);
    }
    return choice.map((number, i) => ({ exchangeable: exchangeable[i] ?? [number], others: others[i] ?? [] }));
  }

  /** How many faults it would take instead, by the greedy rule; null when some pair has no other explanation. */
  faultsWithout(chosen: number, excluded: readonly number[]): number | null {
    const isExcluded = new Set(excluded);
    const wanted = new Set(this.#coversOf(chosen));
    const numbers = new Set<number>();
    for (const pair of wanted) {
      const rivals = (this.#byPair.get(pair) ?? []).filter((number) => !isExcluded.has(number));
      if (rivals.length === 0) return null;
      for (const number of rivals) numbers.add(number);
    }
    return greedyFaults(
      [...numbers].sort((a, b) => a - b).map((number) => this.#coversOf(number)),
      wanted,
    );
  }

  #coversOf(number: number): readonly number[] {
    return this.#classes[number]?.covers ?? [];
  }

  /** Numbers of the classes that explain all of these pairs; of all classes where there is no pair. */
  #explainingAll(pairs: readonly number[]): number[] {
    const [first] = pairs;
    const candidates = first === undefined ? [...this.#classes.keys()] : (this.#byPair.get(first) ?? []);
    return candidates.filter((number) => includesAll(this.#coversOf(number), pairs));
  }
}

/**
 * The greedy rule takes what explains most of the pairs left, the first of those that explain as many. What is left only
 * shrinks, so counts from before are upper bounds: whoever stands first with a count of now is the one.
 */
function greedyFaults(rivals: readonly (readonly number[])[], wanted: Set<number>): number {
  const byCount: Set<number>[] = [];
  const put = (rival: number): void => {
    const count = (rivals[rival] ?? []).reduce((sum, pair) => sum + Number(wanted.has(pair)), 0);
    let same = byCount[count];
    if (same === undefined) {
      same = new Set();
      byCount[count] = same;
    }
    same.add(rival);
  };
  for (const rival of rivals.keys()) put(rival);
  let faults = 0;
  for (let count = byCount.length - 1; count > 0 && wanted.size > 0; count--) {
    const same = byCount[count] ?? new Set();
    // Those whose count has shrunk go down; they can't come back.
    for (const rival of [...same].sort((a, b) => a - b)) {
      const left = (rivals[rival] ?? []).reduce((sum, pair) => sum + Number(wanted.has(pair)), 0);
      if (left < count) {
        put(rival);
        continue;
      }
      for (const pair of rivals[rival] ?? []) wanted.delete(pair);
      faults++;
    }
  }
  return faults;
}

function sharedCount(a: readonly number[], b: readonly number[]): number {
  const inB = new Set(b);
  return a.reduce((count, pair) => count + Number(inB.has(pair)), 0);
}
