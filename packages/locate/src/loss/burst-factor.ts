import { BLOCKS } from "./loss-tree.ts";

/**
 * How much the spread over the blocks exceeds what independent losses would give. Under bursts the estimate stays
 * consistent while the plain interval is far too narrow. Hot path.
 * @param values the linearised estimate of ln alpha in every block
 * @param variance of ln alpha for independent losses
 */
export function burstFactorOf(values: Float64Array, variance: number): number {
  if (variance <= 0) return 1;
  let sum = 0;
  for (let i = 0; i < BLOCKS; i++) sum += values[i] as number;
  const mean = sum / BLOCKS;
  let spread = 0;
  for (let i = 0; i < BLOCKS; i++) spread += ((values[i] as number) - mean) ** 2;
  return Math.max(1, spread / (BLOCKS - 1) / BLOCKS / variance);
}
