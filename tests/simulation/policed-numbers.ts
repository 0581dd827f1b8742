import type { SeqRange } from "../../packages/locate/src/run/run-observations.ts";

interface Policer {
  readonly passedPerSecond: number;
  readonly depthPackets: number;
}

/**
 * The numbers that a policer drops: a token bucket that fills at a constant rate and lets a packet through for each whole
 * token (RFC 2697, without colours).
 * @param offered numbers that come to it, evenly spaced where none is missing
 */
export function policedNumbers(
  offered: readonly SeqRange[],
  packetsPerSecond: number,
  { passedPerSecond, depthPackets }: Policer,
): SeqRange[] {
  const perPacket = passedPerSecond / packetsPerSecond;
  const dropped: [number, number][] = [];
  let tokens = depthPackets;
  let at = 0;
  for (const [first, last] of offered) {
    for (let seq = first; seq <= last; seq++) {
      tokens = Math.min(depthPackets, tokens + (seq - at) * perPacket);
      at = seq;
      if (tokens >= 1) {
        tokens--;
        continue;
      }
      const open = dropped.at(-1);
      if (open !== undefined && open[1] === seq - 1) open[1] = seq;
      else dropped.push([seq, seq]);
    }
  }
  return dropped;
}
