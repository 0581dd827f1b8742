import type { ListenerObservation } from "../run/run-observations.ts";
import { COLUMNS, PACKETS, PASS_ABOVE, RAW_LOSS_RATIO } from "./link-estimate.ts";

/** What the host says it dropped itself is not the network's, unless those very numbers are left out already. */
export const droppedBy = ({ hostLost, hostLostPackets }: ListenerObservation): number =>
  hostLost === undefined ? (hostLostPackets ?? 0) : 0;

/**
 * Takes what hosts counted as their own drops out of the links' losses. Hosts that are busy at the same moments drop the
 * same packets, which the estimator puts above their branch. So what a host's own link does not account for is taken out
 * of the link above, as far as all hosts below have as much left, and so on up to the source: every drop explains one loss.
 * @param links rows by the number of their lower end, which are changed
 * @param parents as in a `LossTree`
 * @param dropped packets, for every listener's node; null for the source and for branches
 */
export function takeOutHostDrops(
  links: Float64Array,
  parents: ArrayLike<number>,
  dropped: readonly (number | null)[],
): void {
  const left = Float64Array.from(dropped, (packets) => packets ?? Number.POSITIVE_INFINITY);
  for (let node = parents.length - 1; node > 0; node--) {
    const parent = parents[node] ?? 0;
    const unexplained = left[node] ?? 0;
    const explained = takeOut(unexplained, links, node * COLUMNS);
    left[parent] = Math.min(left[parent] ?? 0, unexplained - explained);
  }
}

/** @returns how many of the dropped packets the link's loss is explained by */
function takeOut(dropped: number, links: Float64Array, at: number): number {
  const lossRatio = links[at + RAW_LOSS_RATIO] as number;
  if (dropped === 0 || lossRatio <= 0) return 0;
  const offered = (links[at + PACKETS] as number) * (links[at + PASS_ABOVE] as number);
  links[at + RAW_LOSS_RATIO] = Math.max(0, lossRatio - dropped / offered);
  return Math.min(dropped, lossRatio * offered);
}
