import type { QuerierObservation } from "../run/run-observations.ts";
import type { SiteIndex } from "../site/site-index.ts";
import { isAtOrBelow, nodesDownTo, sourceTree } from "../site/source-tree.ts";

/** One link parts the hosts that hear one querier from those that hear another: queries do not cross it. */
export interface QuerierIslands {
  /** The two sides: who hears whom alone. */
  readonly sides: readonly { readonly address: string; readonly hosts: readonly string[] }[];
  /** Segments between them, in both directions. */
  readonly suspects: readonly string[];
}

/** A single query may be the last of one that lost the election (RFC 3376, section 6.6.2). */
export const LEAST_QUERIES = 2;

/** @param queriers what the hosts of one layer-2 domain heard */
export function querierIslands(site: SiteIndex, queriers: readonly QuerierObservation[]): QuerierIslands | null {
  const heard = queriers.flatMap(({ host, canHear, queriers }) => {
    const node = site.nodeNumber.get(host);
    const lasting = queriers.filter((q) => q.queries >= LEAST_QUERIES && q.family === 4);
    const [only] = lasting;
    return canHear && node !== undefined && lasting.length === 1 && only !== undefined
      ? [{ host, node, address: only.address }]
      : [];
  });
  const addresses = [...new Set(heard.map((one) => one.address))];
  const [first] = heard;
  if (addresses.length !== 2 || first === undefined) return null;
  const tree = sourceTree(site, first.node);
  const other = heard.find((one) => one.address !== first.address);
  if (other === undefined) return null;
  const path = nodesDownTo(tree, other.node);
  const parting = path.filter((top) =>
    heard.every(({ node, address }) => isAtOrBelow(tree, node, top) === (address !== first.address)),
  );
  // Behind a router there is another domain with a querier of its own, rightly.
  if (parting.length === 0 || path.some((node) => site.nodes[node]?.kind === "router")) return null;
  const suspects = parting.flatMap((node) => {
    const segment = tree.into[node] ?? -1;
    return [segment, site.reverse[segment] ?? -1].flatMap((number) => site.segments[number]?.id ?? []);
  });
  const hostsOf = (address: string): string[] => heard.filter((one) => one.address === address).map(({ host }) => host);
  return { sides: addresses.map((address) => ({ address, hosts: hostsOf(address) })), suspects };
}
