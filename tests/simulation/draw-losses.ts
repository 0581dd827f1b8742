import type { SeqRange } from "../../packages/locate/src/run/run-observations.ts";
import type { Random } from "./seeded-random.ts";

/** Lost numbers of one segment: a two-state chain (Gilbert 1960) that loses all packets in its bad state. */
export function drawLosses(packets: number, ratio: number, burstPackets: number, random: Random): SeqRange[] {
  const losses: [number, number][] = [];
  if (ratio <= 0) return losses;
  if (ratio >= 1) return [[0, packets - 1]];
  const leaveBad = 1 / burstPackets;
  const enterBad = burstPackets <= 1 ? ratio : (leaveBad * ratio) / (1 - ratio);
  const stay = (chance: number): number =>
    chance >= 1 ? 1 : 1 + Math.floor(Math.log(1 - random()) / Math.log(1 - chance));
  // Independent losses are runs of one, of which the next may follow at once.
  for (let at = stay(enterBad) - 1; at < packets; ) {
    const length = burstPackets <= 1 ? 1 : stay(leaveBad);
    const last = Math.min(packets - 1, at + length - 1);
    const open = losses.at(-1);
    if (open !== undefined && at <= open[1] + 1) open[1] = last;
    else losses.push([at, last]);
    at += length + (burstPackets <= 1 ? stay(enterBad) - 1 : stay(enterBad));
  }
  return losses;
}
