import type { Oid } from "./oid.ts";

/** As it travels: a number, octets, or the text of an address or object identifier. */
export type RawValue = number | string | Uint8Array;

export interface Cell {
  /** What stands behind the column's own identifier. */
  readonly index: Oid;
  readonly value: RawValue;
  /** From its question to its answer, ms after the reading began. */
  readonly fromMs: number;
  readonly toMs: number;
}

/** One column of one table, as far as it was read. */
export interface Column {
  readonly cells: readonly Cell[];
  /** The end of a sentence where not all of it was read; null: it is whole. */
  readonly trouble: string | null;
}

/** By object name. What was not asked for is not in it. */
export interface RawTables {
  readonly scalars: ReadonlyMap<string, RawValue>;
  readonly columns: ReadonlyMap<string, Column>;
  /** Why nothing could be read at all; null: something could. */
  readonly trouble: string | null;
}
