import { formatRatio } from "@dyetrace/wire";
import { formatClock, formatCount, formatDay, nameSome } from "../parts/format.ts";
import type { NightAnswer, NightStrip } from "./night-answer.ts";

/** What was counted in all. Who counted nothing at all is no part of the share that was lost, and is named beside it. */
export function sayDelivered(night: Pick<NightAnswer, "received" | "lost" | "strips">): string {
  const { received, lost } = night;
  const silent = silentOf(night);
  if (received + lost === 0) return "No packet was counted anywhere.";
  const came = received === 1 ? "1 packet was received" : `${formatCount(received)} packets were received`;
  const missing =
    lost === 0
      ? "none was lost"
      : `${formatCount(lost)} ${lost === 1 ? "was" : "were"} lost (${formatRatio(lost / (received + lost))})`;
  if (silent.length === 0) return `${came}, ${missing}.`;
  return `No packet was counted at ${nameSome(silent, MOST_SILENT)}. Elsewhere ${came}, ${missing}.`;
}

const MOST_SILENT = 6;

/** `kiosk-1`, or with the stream beside it where there are several. */
function silentOf({ strips }: Pick<NightAnswer, "strips">): readonly string[] {
  const isOne = new Set(strips.map(({ stream }) => stream)).size === 1;
  return strips
    .filter(({ cells }) => /^\.*$/.test(cells))
    .map(({ stream, listener }) => (isOne ? listener : `${listener} (${stream})`));
}

export const sayIncidents = (count: number): string =>
  count === 0 ? "No incident." : count === 1 ? "1 incident." : `${formatCount(count)} incidents.`;

/** `02:14:05`, and the day before it where that is another than the one the night began on. */
export function clockOf(startedAt: string, atMs: number): string {
  const at = new Date(Date.parse(startedAt) + atMs);
  const day = formatDay(at.toISOString());
  return day === formatDay(startedAt) ? formatClock(at) : `${day}, ${formatClock(at)}`;
}

/** What each letter of a strip means, in the order in which the key has them. */
export const KEY: readonly (readonly [string, string])[] = [
  [".", "no packet counted"],
  ["-", "nothing lost"],
  ["1", "under 0.01 % lost"],
  ["2", "under 0.1 % lost"],
  ["3", "under 1 % lost"],
  ["4", "1 % or more lost"],
];

/** What a strip shows, for whoever does not see it. */
export function sayStrip({ cells }: NightStrip): string {
  const counts = new Map<string, number>();
  for (const cell of cells) counts.set(cell, (counts.get(cell) ?? 0) + 1);
  return KEY.flatMap(([letter, words]) => {
    const count = counts.get(letter) ?? 0;
    return count === 0 ? [] : [`${words} in ${count === 1 ? "1 cell" : `${count} cells`}`];
  }).join(", ");
}

/** The worst first: nobody reads two hundred of them in a minute. */
export const worstFirst = (strips: readonly NightStrip[]): readonly NightStrip[] =>
  strips.toSorted((a, b) => weight(b.cells) - weight(a.cells));

const weight = (cells: string): number =>
  [...cells].reduce((sum, cell) => sum + (/[1-4]/.test(cell) ? 10 ** Number(cell) : 0), 0);
