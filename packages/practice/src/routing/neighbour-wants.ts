/**
 * What one router asks of the others in a subnet: packets of these hosts to these groups. It plays the part of a PIM
 * join (RFC 7761 section 4.5): the whole list each time, at once when it changes and again every second.
 */
export type WantList = readonly {
  readonly sources: readonly string[];
  readonly groups: readonly string[];
}[];

/** A list that is not said again within this time no longer counts. */
export const WANT_LIST_LASTS_MS = 3_500;

/** The lists that came from the routers of one subnet. */
export class NeighbourWants {
  readonly #lists = new Map<string, { readonly text: string; untilMs: number; readonly wanted: ReadonlySet<string> }>();

  /** @returns true if the list says something new */
  take(neighbour: string, text: string, nowMs: number): boolean {
    const known = this.#lists.get(neighbour);
    if (known?.text === text) {
      known.untilMs = nowMs + WANT_LIST_LASTS_MS;
      return false;
    }
    const wanted = new Set<string>();
    for (const { sources, groups } of JSON.parse(text) as WantList) {
      for (const source of sources) for (const group of groups) wanted.add(keyOf(source, group));
    }
    this.#lists.set(neighbour, { text, untilMs: nowMs + WANT_LIST_LASTS_MS, wanted });
    return true;
  }

  /** @returns true if a list has run out */
  expire(nowMs: number): boolean {
    let hasChanged = false;
    for (const [neighbour, { untilMs }] of this.#lists) {
      if (untilMs <= nowMs) hasChanged = this.#lists.delete(neighbour) || hasChanged;
    }
    return hasChanged;
  }

  wants(source: string, group: string): boolean {
    const key = keyOf(source, group);
    for (const { wanted } of this.#lists.values()) if (wanted.has(key)) return true;
    return false;
  }

  *groups(): Generator<string> {
    for (const { wanted } of this.#lists.values()) for (const key of wanted) yield key.slice(key.indexOf(" ") + 1);
  }
}

const keyOf = (source: string, group: string): string => `${source} ${group}`;
