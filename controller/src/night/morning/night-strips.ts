import type { NightListener, NightStrip } from "@dyetrace/wire";
import { getOrAdd } from "../../account/get-or-add.ts";
import type { CompiledStream } from "../../plan/compiled-run.ts";
import type { Episode } from "../../store/pack/kept-report.ts";
import type { StripCell } from "../../store/report-records.ts";
import { packetNs } from "../silences.ts";

/** Shares that do not come; a cell with more than the last has the next digit. */
const STEPS: readonly number[] = [1e-4, 1e-3, 1e-2];
/** Of two streams' cells, the one further to the right is told. */
const WORST_LAST = ".-?12345";

/** As much as a strip says of its stream. */
export type StripStream = Pick<CompiledStream, "streamId" | "name" | "payloadBytes" | "rateBps">;

interface Row {
  readonly stream: StripStream;
  readonly listener: string;
  readonly cells: StripCell[];
}

/**
 * One row of letters for each stream and listener. Pure.
 * @param unwatched times in which an agent measured nothing, or could not keep what it measured
 */
export function stripsOf(
  sums: readonly StripCell[],
  run: { readonly streams: readonly StripStream[] },
  cells: number,
  cellNs: number,
  unwatched: readonly Episode[],
): NightStrip[] {
  const streams = new Map(run.streams.map((stream) => [stream.streamId, stream]));
  const rows = new Map<string, Row>();
  for (const sum of sums) {
    const stream = streams.get(sum.streamId);
    if (stream === undefined) continue;
    const row = getOrAdd(rows, `${sum.streamId} ${sum.agent}`, () => ({ stream, listener: sum.agent, cells: [] }));
    row.cells[sum.cell] = sum;
  }
  return [...rows.values()].map(({ stream, listener, cells: own }): NightStrip => {
    const blind = unwatched.filter(({ agent }) => agent === listener);
    const isPartly = (cell: number): boolean =>
      blind.some(({ fromNs, toNs }) => fromNs < (cell + 1) * cellNs && toNs > cell * cellNs);
    const known = own.filter((one) => one !== undefined);
    const [received, lost] = [addUp(known.map((one) => one.received)), addUp(known.map((one) => one.lost))];
    const hostLost = addKnown(known.map((one) => one.hostLost));
    return {
      stream: stream.name,
      listener,
      cells: Array.from({ length: cells }, (_, cell) => letter(own[cell], isPartly(cell))).join(""),
      ...{ received, lost, hostLost },
      withoutMs: ((lost + (hostLost ?? 0)) * packetNs(stream)) / 1e6,
    };
  });
}

/** What listeners missed to the end without a packet that tells them: as lost, in the cells in which it was. Pure. */
export function withSilent(sums: readonly StripCell[], silent: readonly Episode[], cellNs: number): StripCell[] {
  const cells = new Map(sums.map((sum) => [`${sum.streamId} ${sum.agent} ${sum.cell}`, sum]));
  for (const { streamId, agent, fromNs, toNs, count } of silent) {
    if (streamId === null) continue;
    for (let cell = Math.floor(fromNs / cellNs); cell * cellNs < toNs; cell++) {
      const shareNs = Math.min(toNs, (cell + 1) * cellNs) - Math.max(fromNs, cell * cellNs);
      const own = cells.get(`${streamId} ${agent} ${cell}`) ?? {
        streamId,
        agent,
        cell,
        received: 0,
        lost: 0,
        hostLost: 0,
      };
      const lost = own.lost + Math.round((count * shareNs) / (toNs - fromNs));
      cells.set(`${streamId} ${agent} ${cell}`, { ...own, lost });
    }
  }
  return [...cells.values()];
}

/** One row for each listener, whatever it listens to; who was longest without a stream comes first. Pure. */
export function listenersOf(strips: readonly NightStrip[]): NightListener[] {
  const byListener = new Map<string, NightStrip[]>();
  for (const strip of strips) getOrAdd(byListener, strip.listener, () => []).push(strip);
  return [...byListener]
    .map(
      ([listener, own]): NightListener => ({
        listener,
        cells: worstOf(own.map(({ cells }) => cells)),
        received: addUp(own.map(({ received }) => received)),
        lost: addUp(own.map(({ lost }) => lost)),
        hostLost: addKnown(own.map(({ hostLost }) => hostLost)),
        withoutMs: addUp(own.map(({ withoutMs }) => withoutMs)),
      }),
    )
    .toSorted((a, b) => b.withoutMs - a.withoutMs);
}

const worstOf = ([first = "", ...others]: readonly string[]): string =>
  [...first]
    .map((own, cell) =>
      others.reduce((worst, other) => {
        const one = other[cell] ?? ".";
        return WORST_LAST.indexOf(one) > WORST_LAST.indexOf(worst) ? one : worst;
      }, own),
    )
    .join("");

function letter(sum: StripCell | undefined, isPartly: boolean): string {
  if (sum === undefined) return ".";
  const missing = sum.lost + (sum.hostLost ?? 0);
  if (sum.received + missing === 0) return ".";
  if (missing === 0) return isPartly ? "?" : "-";
  if (sum.received === 0) return "5";
  const ratio = missing / (sum.received + missing);
  return String(1 + STEPS.filter((step) => ratio >= step).length);
}

const addUp = (numbers: readonly number[]): number => numbers.reduce((sum, one) => sum + one, 0);
/** Null where one is not known. */
export const addKnown = (numbers: readonly (number | null)[]): number | null =>
  numbers.reduce<number | null>((sum, one) => (sum === null || one === null ? null : sum + one), 0);
