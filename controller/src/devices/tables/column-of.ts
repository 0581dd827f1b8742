import type { Cell, RawTables, RawValue } from "./raw-tables.ts";

export const cellsOf = (tables: RawTables, name: string): readonly Cell[] => tables.columns.get(name)?.cells ?? [];

/** A column by its index as text. */
export const columnOf = (tables: RawTables, name: string): ReadonlyMap<string, RawValue> =>
  new Map(cellsOf(tables, name).map(({ index, value }) => [index.join("."), value]));
