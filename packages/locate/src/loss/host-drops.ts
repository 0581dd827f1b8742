import type { ListenerObservation } from "../run/run-observations.ts";
import type { LinkEstimate } from "./link-estimate.ts";

/** What the host says it dropped itself is not the network's, unless those very numbers are left out already. */
export const droppedBy = ({ hostLost, hostLostPackets }: ListenerObservation): number =>
  hostLost === undefined ? (hostLostPackets ?? 0) : 0;

/**
 * Takes what hosts counted as their own drops out of the links' losses. Hosts that are busy at the same moments drop the
 * same packets, which the estimator puts above their branch. So what a host's own link does not account for is taken out
 * of the link above, as far as all hosts below have as much left, and so on up to the source: every drop explains one loss.
 * @param links by the number of their lower end; the source's entry is null
 * @param parents as in a `LossTree`
 * @param dropped packets, for every listener's node; null for the source and for branches
 */
export function withoutHostDrops(
  links: readonly (LinkEstimate | null)[],
  parents: readonly number[],
  dropped: readonly (number | null)[],
): (LinkEstimate | null)[] {
  const left = dropped.map((packets) => packets ?? Number.POSITIVE_INFINITY);
  const cleaned = [...links];
  for (let node = links.length - 1; node > 0; node--) {
    const link = links[node] ?? null;
    const parent = parents[node] ?? 0;
    const unexplained = left[node] ?? 0;
    const { rest, explained } = link === null ? { rest: link, explained: 0 } : explainedBy(unexplained, link);
    cleaned[node] = rest;
    left[parent] = Math.min(left[parent] ?? 0, unexplained - explained);
  }
  return cleaned;
}

function explainedBy(dropped: number, link: LinkEstimate): { readonly rest: LinkEstimate; readonly explained: number } {
  if (dropped === 0 || link.rawLossRatio <= 0) return { rest: link, explained: 0 };
  const offered = link.packets * link.passAbove;
  const rawLossRatio = Math.max(0, link.rawLossRatio - dropped / offered);
  return { rest: { ...link, rawLossRatio }, explained: Math.min(dropped, link.rawLossRatio * offered) };
}
