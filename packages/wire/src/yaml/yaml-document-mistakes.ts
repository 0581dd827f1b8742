import { Fault, type FilePlace } from "../fault.ts";
import type { DataPath, YamlDocument } from "./yaml-document.ts";

interface Mistake {
  readonly place: FilePlace;
  readonly message: string;
  readonly hint: string | (() => string);
}

/**
 * Gathers what is wrong with a file, so that the user mends several mistakes at once. The first in file order is
 * thrown; the rest are its `others`.
 */
export class FileMistakes {
  readonly #document: YamlDocument;
  readonly #mistakes: Mistake[] = [];

  constructor(document: YamlDocument) {
    this.#document = document;
  }

  get isEmpty(): boolean {
    return this.#mistakes.length === 0;
  }

  /** Ten are told: whoever looks on for what is wrong by the thousand keeps everybody waiting for nothing. */
  get isEnough(): boolean {
    return this.#mistakes.length >= ENOUGH;
  }

  /**
   * @param hint a function where it takes long to find: it is asked only for mistakes that are told
   * @param on whether the value itself or its key is at fault
   */
  add(path: DataPath, message: string, hint: string | (() => string), on: "value" | "key" = "value"): void {
    const place = on === "key" ? this.#document.placeOfKey(path) : this.#document.placeOf(path);
    this.#mistakes.push({ place, message, hint });
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
    const inOrder = this.#mistakes.toSorted((a, b) => a.place.line - b.place.line || a.place.column - b.place.column);
    const [first, ...rest] = inOrder;
    if (first === undefined) return;
    throw this.#faultOf(
      first,
      rest.slice(0, MAX_OTHERS).map((mistake) => this.#faultOf(mistake)),
    );
  }

  #faultOf({ place, message, hint }: Mistake, others: readonly Fault[] = []): Fault {
    return new Fault(this.#document.code, message, typeof hint === "string" ? hint : hint(), { place, others });
  }
}

const MAX_OTHERS = 9;
/** More than are told: they are not found in quite the order of the file. */
const ENOUGH = 50;
