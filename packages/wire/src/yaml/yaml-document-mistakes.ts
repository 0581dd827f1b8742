import { Fault } from "../fault.ts";
import type { DataPath, YamlDocument } from "./yaml-document.ts";

/**
 * Gathers what is wrong with a file, so that the user mends several mistakes at once. The first in file order is
 * thrown; the rest are its `others`.
 */
export class FileMistakes {
  readonly #document: YamlDocument;
  readonly #faults: Fault[] = [];

  constructor(document: YamlDocument) {
    this.#document = document;
  }

  get isEmpty(): boolean {
    return this.#faults.length === 0;
  }

  /** @param on whether the value itself or its key is at fault */
  add(path: DataPath, message: string, hint: string, on: "value" | "key" = "value"): void {
    const place = on === "key" ? this.#document.placeOfKey(path) : this.#document.placeOf(path);
    this.#faults.push(new Fault(this.#document.code, message, hint, { place }));
  }

  /**
   * Runs a parser of a single value, such as `parseRateBps`.
   * @returns null where it threw a `Fault`, which is kept as a mistake at `path`
   */
  attempt<T>(path: DataPath, parse: () => T): T | null {
    try {
      return parse();
    } catch (error) {
      if (!(error instanceof Fault)) throw error;
      this.add(path, error.message, error.hint);
      return null;
    }
  }

  /** @throws {Fault} the first mistake in file order, if there is any; up to nine more in its `others` */
  throwIfAny(): void {
    const inOrder = this.#faults.toSorted(
      (a, b) => (a.place?.line ?? 0) - (b.place?.line ?? 0) || (a.place?.column ?? 0) - (b.place?.column ?? 0),
    );
    const [first, ...rest] = inOrder;
    if (first === undefined) return;
    throw new Fault(first.code, first.message, first.hint, {
      ...(first.place === undefined ? {} : { place: first.place }),
      others: rest.slice(0, MAX_OTHERS),
    });
  }
}

const MAX_OTHERS = 9;
