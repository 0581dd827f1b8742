/** One object: its number, and its type and value as `pass_persist` writes them. */
export interface OidRow {
  readonly oid: readonly number[];
  readonly type: "integer" | "gauge" | "counter64" | "timeticks" | "string" | "octet" | "ipaddress" | "objectid";
  readonly value: string;
}

/** Objects in the order of their numbers. */
export class OidRows {
  readonly #rows: readonly OidRow[];

  constructor(rows: readonly OidRow[]) {
    this.#rows = rows.toSorted((a, b) => compareOids(a.oid, b.oid));
  }

  get(oid: readonly number[]): OidRow | null {
    const row = this.#rows[this.#firstNotBefore(oid)];
    return row !== undefined && compareOids(row.oid, oid) === 0 ? row : null;
  }

  /** @returns the first after `oid` */
  next(oid: readonly number[]): OidRow | null {
    const at = this.#firstNotBefore(oid);
    const row = this.#rows[at];
    return (row !== undefined && compareOids(row.oid, oid) === 0 ? this.#rows[at + 1] : row) ?? null;
  }

  #firstNotBefore(oid: readonly number[]): number {
    let [low, high] = [0, this.#rows.length];
    while (low < high) {
      const middle = (low + high) >> 1;
      if (compareOids(this.#rows[middle]?.oid ?? [], oid) < 0) low = middle + 1;
      else high = middle;
    }
    return low;
  }
}

/** In the order in which an agent walks through them (RFC 3416, section 4.2.2). */
export function compareOids(a: readonly number[], b: readonly number[]): number {
  for (let at = 0; at < Math.min(a.length, b.length); at++) {
    const difference = (a[at] ?? 0) - (b[at] ?? 0);
    if (difference !== 0) return difference;
  }
  return a.length - b.length;
}

export const parseOid = (text: string): number[] => text.replace(/^\./, "").split(".").map(Number);
export const formatOid = (oid: readonly number[]): string => `.${oid.join(".")}`;
