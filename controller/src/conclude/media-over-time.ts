import type { ReportMedia } from "@dyetrace/wire";
import type { RunAccount } from "../account/run-account.ts";
import type { SourceAccount } from "../account/source-account.ts";
import { receivedPiece } from "../account/stay-numbers.ts";
import type { Stay } from "../account/stays.ts";
import { cellNsOf } from "../plan/night-cells.ts";

type OverTime = NonNullable<ReportMedia["overTime"]>;
type Piece = OverTime["pieces"][number];

/**
 * When a followed stream lost at each listener, in pieces as long as a night's cells: by the numbers that all agents' packets were put
 * into one row by, so a loss stands where it was, as near as the row tells which number came when. Pure.
 */
export function withOverTime(media: readonly ReportMedia[], { run, stays, sources }: RunAccount): ReportMedia[] {
  const pieceNs = cellNsOf(run.endNs);
  const count = Math.ceil(run.endNs / pieceNs);
  return media.map((one): ReportMedia => {
    const source = sources.get(one.stream);
    const identifiedBy = run.streams.find(({ name }) => name === one.stream)?.followed?.identifiedBy ?? null;
    const own = stays.filter(({ join }) => join.stream === one.stream && join.agent === one.listener);
    if (source === undefined || identifiedBy === null || own.length === 0) return one;
    const pieces = Array.from({ length: count }, (_, index) =>
      own
        .map((stay) => pieceOf(stay, source, index * pieceNs, (index + 1) * pieceNs))
        .reduce((all, next) => together(all, next), null),
    );
    return { ...one, overTime: { pieceMs: pieceNs / 1e6, pieces } };
  });
}

function pieceOf(stay: Stay, source: SourceAccount, fromNs: number, toNs: number): Piece {
  const piece = receivedPiece(stay, source, fromNs, toNs);
  return piece === null ? null : [piece.received, piece.lost, piece.hostLost];
}

const together = (a: Piece, b: Piece): Piece =>
  a === null || b === null ? (a ?? b) : [a[0] + b[0], a[1] + b[1], a[2] === null || b[2] === null ? null : a[2] + b[2]];
