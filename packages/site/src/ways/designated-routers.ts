import { parseIpAddress } from "@dyetrace/wire";
import type { SiteGraph } from "../model/site-model.ts";
import { isInSubnet, parseSubnet } from "../model/subnet.ts";

/**
 * Of several routers on a subnet the designated one answers for its members: the one with the highest address, where no
 * priorities are set (RFC 7761, section 4.3.2).
 * @param vlan of the subnet; undefined in a site without VLANs
 * @returns the one where the plan tells the address of each, else all of them, since each may be
 */
export function mayBeDesignated(
  graph: SiteGraph,
  routers: readonly string[],
  vlan: number | undefined,
): readonly string[] {
  const subnetText = vlan === undefined ? null : (graph.vlans?.get(vlan)?.ipv4 ?? null);
  const subnet = subnetText === null ? null : parseSubnet(subnetText);
  if (subnet === null) return routers;
  const addressed = routers.map((router) => {
    const addresses = (graph.nodes.get(router)?.addresses ?? []).flatMap((text) => parseIpAddress(text) ?? []);
    const inside = addresses.find((address) => isInSubnet(subnet, address));
    return { router, value: inside === undefined ? null : inside.bytes.reduce((sum, byte) => sum * 256 + byte, 0) };
  });
  if (addressed.some(({ value }) => value === null)) return routers;
  const highest = Math.max(...addressed.map(({ value }) => value ?? 0));
  return addressed.flatMap(({ router, value }) => (value === highest ? [router] : []));
}
