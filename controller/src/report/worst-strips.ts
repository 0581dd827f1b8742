import type { Night } from "@dyetrace/wire";

type Strip = Night["strips"][number];

/** The strips that lost most, the worst first: nobody reads two hundred of them in a minute. */
export const worstStrips = ({ strips }: Night, most: number): readonly Strip[] =>
  strips.toSorted((a, b) => weight(b.cells) - weight(a.cells)).slice(0, most);

const weight = (cells: string): number =>
  [...cells].reduce((sum, cell) => sum + (/[1-4]/.test(cell) ? 10 ** Number(cell) : 0), 0);
