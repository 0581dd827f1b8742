import { countRanges, intersectRanges, type SequenceRange, subtractRanges } from "@dyetrace/measure";
import type { ReportMedia } from "@dyetrace/wire";
import { clipRuns } from "../account/missing-runs.ts";
import type { RunAccount } from "../account/run-account.ts";
import type { SourceAccount } from "../account/source-account.ts";
import { hostLostIn, lostIn } from "../account/stay-numbers.ts";
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

/** @returns null where nothing of it is known */
function pieceOf({ numbers, reception }: Stay, { sent }: SourceAccount, fromNs: number, toNs: number): Piece {
  if (numbers === null || numbers.window === null || reception === null) return null;
  const range: SequenceRange = [sent.nextAt(fromNs), sent.nextAt(toNs) - 1];
  const [due] = range[1] < range[0] ? [] : intersectRanges([range], [numbers.window]);
  if (due === undefined) return null;
  const told = countRanges(subtractRanges([due], numbers.unknown));
  if (told === 0) return null;
  const missing = clipRuns(numbers.missing, due);
  const hostLost = reception.receipt.hostLost === null ? null : hostLostIn(missing);
  const absent = Math.min(told, lostIn(missing));
  return [told - absent, Math.max(0, absent - (hostLost ?? 0)), hostLost];
}

const together = (a: Piece, b: Piece): Piece =>
  a === null || b === null ? (a ?? b) : [a[0] + b[0], a[1] + b[1], a[2] === null || b[2] === null ? null : a[2] + b[2]];
