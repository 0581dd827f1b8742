import type { Progress } from "./flow.ts";

const CYCLE = 65_536;
/** Two hosts may tell of the same packet at times this far apart: clocks, and a report's own second. */
const APART_S = 2;
const LEAST_APART = 200;
const MOST_APART = CYCLE / 4;

/** Numbers that one host followed without a break. */
export interface NumberPiece {
  /** In order of time, one at least. */
  readonly progress: readonly Progress[];
  readonly firstSeq: number;
}

/**
 * The 16 bits of an RTP number begin anew after 65,536 packets, and each host has begun to count their cycles when it joined.
 * Puts the pieces of all hosts into one row: whole cycles are added where that makes the numbers of one time agree; where no
 * number of cycles does, the source began anew, and its numbers follow on those before.
 * @param pieces of one source @returns for each what is to be added to its numbers
 */
export function alignNumbers(pieces: readonly NumberPiece[]): readonly number[] {
  const rate = packetsPerSecond(pieces);
  const tolerance = Math.min(MOST_APART, Math.max(LEAST_APART, rate * APART_S));
  const shifts = new Array<number>(pieces.length).fill(0);
  const order = pieces.map((_, index) => index).sort((a, b) => startOf(pieces[a]) - startOf(pieces[b]));
  const placed: Placed[] = [];
  let endSeq: number | null = null;
  for (const index of order) {
    const piece = pieces[index];
    const first = piece?.progress[0];
    if (piece === undefined || first === undefined) continue;
    let best: { readonly shift: number; readonly off: number; readonly epoch: number } | null = null;
    for (const own of [first, piece.progress.at(-1) ?? first]) {
      const near = nearest(placed, own.atNs);
      if (near === null) continue;
      const expected = near.lastSeq + ((own.atNs - near.atNs) / 1e9) * rate;
      const shift = near.epoch + Math.round((expected - own.lastSeq - near.epoch) / CYCLE) * CYCLE;
      const off = Math.abs(expected - own.lastSeq - shift);
      if (off <= tolerance && (best === null || off < best.off)) best = { shift, off, epoch: near.epoch };
    }
    const shift = best?.shift ?? (endSeq === null ? 0 : endSeq - piece.firstSeq);
    const epoch = best?.epoch ?? shift;
    shifts[index] = shift;
    for (const { atNs, lastSeq } of piece.progress) {
      placed.push({ atNs, lastSeq: lastSeq + shift, epoch });
      endSeq = Math.max(endSeq ?? 0, lastSeq + shift + 1);
    }
    placed.sort((a, b) => a.atNs - b.atNs);
  }
  return shifts;
}

interface Placed extends Progress {
  /** What is added to the numbers since the source last began anew, whole cycles apart. */
  readonly epoch: number;
}

const startOf = (piece: NumberPiece | undefined): number => piece?.progress[0]?.atNs ?? 0;

function packetsPerSecond(pieces: readonly NumberPiece[]): number {
  let packets = 0;
  let seconds = 0;
  for (const { progress } of pieces) {
    const [first, last] = [progress[0], progress.at(-1)];
    if (first === undefined || last === undefined || last.atNs <= first.atNs) continue;
    packets += last.lastSeq - first.lastSeq;
    seconds += (last.atNs - first.atNs) / 1e9;
  }
  return seconds === 0 ? 0 : packets / seconds;
}

/** @param placed in order of time */
function nearest(placed: readonly Placed[], atNs: number): Placed | null {
  let low = 0;
  let high = placed.length;
  while (low < high) {
    const middle = (low + high) >> 1;
    if ((placed[middle]?.atNs ?? 0) < atNs) low = middle + 1;
    else high = middle;
  }
  const [before, after] = [placed[low - 1], placed[low]];
  if (before === undefined || after === undefined) return before ?? after ?? null;
  return atNs - before.atNs <= after.atNs - atNs ? before : after;
}
