import { type DataPath, didYouMean, type FileMistakes, type SitePlanFile } from "@dyetrace/wire";
import type { SiteNode, SiteVlan } from "../model/site-model.ts";
import { doSubnetsOverlap, parseSubnet, type Subnet } from "../model/subnet.ts";

/**
 * Reads the plan's list of VLANs, with the node that queries in each where the list says so.
 * @returns null in a plan without the list
 */
export function readVlans(
  plan: SitePlanFile,
  nodes: readonly SiteNode[],
  mistakes: FileMistakes,
): ReadonlyMap<number, SiteVlan> | null {
  if (plan.vlans === undefined) return null;
  const vlans = new Map<number, SiteVlan>();
  const subnets: { readonly vlan: string; readonly subnet: Subnet }[] = [];
  for (const [written, entry] of Object.entries(plan.vlans)) {
    const path: DataPath = ["vlans", written];
    const number = /^[1-9][0-9]{0,3}$/.test(written) ? Number(written) : 0;
    if (number < 1 || number > 4094) {
      mistakes.add(path, `"${written}" is not a VLAN's number`, "Write a number from 1 to 4094", "key");
      continue;
    }
    for (const [key, family] of [["ipv4", 4] as const, ["ipv6", 6] as const]) {
      const text = entry[key];
      if (text === undefined) continue;
      const subnet = parseSubnet(text);
      if (subnet === null || subnet.base.family !== family) {
        const example = family === 4 ? "192.0.2.0/24" : "2001:db8:10::/64";
        mistakes.add([...path, key], `"${text}" is not an IPv${family} subnet`, `Write one such as ${example}`);
        continue;
      }
      const other = subnets.find((one) => doSubnetsOverlap(one.subnet, subnet));
      if (other !== undefined) {
        const message = `The subnet ${text} overlaps with one of VLAN ${other.vlan}`;
        mistakes.add([...path, key], message, "Give each VLAN a subnet of its own");
      }
      subnets.push({ vlan: written, subnet });
    }
    if (entry.querier !== undefined) checkQuerier(entry.querier, [...path, "querier"], nodes, mistakes);
    const { name = null, ipv4 = null, ipv6 = null, querier = null } = entry;
    vlans.set(number, { number, name, ipv4, ipv6, querier });
  }
  if (vlans.size === 0)
    mistakes.add(["vlans"], "The list of VLANs is empty", "Add some such as 10: {}, or remove it", "key");
  return vlans;
}

function checkQuerier(name: string, path: DataPath, nodes: readonly SiteNode[], mistakes: FileMistakes): void {
  const node = nodes.find((one) => one.name === name);
  const names = nodes.map((one) => one.name);
  if (node === undefined)
    mistakes.add(path, `No node is called "${name}"`, didYouMean(name, names, 'Add it under "nodes"'));
  else if (node.kind === "host") mistakes.add(path, "A host cannot be the querier", "Name a switch or router");
}
