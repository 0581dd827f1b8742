import type { NightStrip, RunReport } from "@dyetrace/wire";
import type { Episode } from "../../store/pack/kept-report.ts";
import type { StripCell } from "../../store/report-records.ts";
import { type StripStream, stripsOf } from "./night-strips.ts";

/**
 * The strips of streams of others, as the conclusion has them. Where no sequence number tells, or where not each packet was
 * compared, a cell without a loss says that a part was not measured: what was lost to all does not show. Pure.
 * @param report null: not concluded
 */
export function followedStrips(
  report: Pick<RunReport, "media" | "streams"> | null,
  cells: number,
  cellNs: number,
  unwatched: readonly Episode[],
): NightStrip[] {
  const { media = [], streams = [] } = report ?? {};
  const told = streams.map(
    ({ name, payloadBytes, rateBps }, streamId): StripStream => ({ streamId, name, payloadBytes, rateBps }),
  );
  const idOf = new Map(told.map(({ streamId, name }) => [name, streamId]));
  const sums = media.flatMap(({ stream, listener, overTime }): StripCell[] => {
    const streamId = idOf.get(stream);
    if (streamId === undefined || overTime === undefined || overTime.pieceMs * 1e6 !== cellNs) return [];
    return overTime.pieces.flatMap((piece, cell) =>
      piece === null || cell >= cells
        ? []
        : [{ streamId, agent: listener, cell, received: piece[0], lost: piece[1], hostLost: piece[2] }],
    );
  });
  const isWhole = new Map(
    streams.map(({ name, identifiedBy, comparedOneIn }) => [
      name,
      identifiedBy === "sequence" && (comparedOneIn ?? 1) === 1,
    ]),
  );
  return stripsOf(sums, { streams: told }, cells, cellNs, unwatched).map((strip) =>
    isWhole.get(strip.stream) === true ? strip : { ...strip, cells: strip.cells.replaceAll("-", "?") },
  );
}
