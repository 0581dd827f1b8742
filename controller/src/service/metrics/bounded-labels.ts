/** Stands for all that came after the bound was reached. */
export const OTHER = "other";

/**
 * Sets of label values that have a time series of their own. Each stays as long as the controller lives, so there is a bound:
 * what comes after it is counted under `other`, and nothing is lost of the sum.
 */
export class BoundedLabels<Name extends string> {
  readonly #names: readonly Name[];
  readonly #most: number;
  readonly #known = new Map<string, Readonly<Record<Name, string>>>();
  readonly #other: Readonly<Record<Name, string>>;

  constructor(names: readonly Name[], most: number) {
    this.#names = names;
    this.#most = most;
    this.#other = Object.fromEntries(names.map((name) => [name, OTHER])) as Record<Name, string>;
  }

  of(labels: Readonly<Record<Name, string>>): Readonly<Record<Name, string>> {
    const key = JSON.stringify(this.#names.map((name) => labels[name]));
    const known = this.#known.get(key);
    if (known !== undefined) return known;
    if (this.#known.size >= this.#most) return this.#other;
    this.#known.set(key, labels);
    return labels;
  }
}
