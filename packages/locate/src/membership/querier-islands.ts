import type { AddressFamily } from "../run/address-family.ts";
import type { QuerierObservation } from "../run/run-observations.ts";
import type { SiteIndex } from "../site/site-index.ts";
import { isAtOrBelow, nodesDownTo, sourceTree } from "../site/source-tree.ts";
import { isLasting } from "./querier-timing.ts";

/** One link parts the hosts that hear one querier from those that hear another: queries do not cross it. */
export interface QuerierIslands {
  /** The two sides: who hears whom alone. */
  readonly sides: readonly { readonly address: string; readonly hosts: readonly string[] }[];
  /** Segments between them, in both directions. */
  readonly suspects: readonly string[];
}

/** @param queriers what the hosts of one layer-2 domain heard */
export function querierIslands(
  site: SiteIndex,
  queriers: readonly QuerierObservation[],
  family: AddressFamily,
): QuerierIslands | null {
  const heard = queriers.flatMap(({ host, canHear, queriers }) => {
    const node = site.nodeNumber.get(host);
    const lasting = queriers.filter((q) => isLasting(q) && q.family === family).map((q) => q.address);
    const [address, ...more] = new Set(lasting);
    return canHear && node !== undefined && more.length === 0 && address !== undefined ? [{ host, node, address }] : [];
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
