import { ip, nft, sysctl } from "../host/step.ts";
import type { FaultGround, FaultPlan } from "./fault-plan.ts";
import { deleteTable } from "./frame-chain.ts";
import { addressAt, hostAt, invalid } from "./places.ts";
import type { PracticeFaultOf } from "./practice-fault.ts";

/** The host's own packet filter: its capture sees what its sockets do not. */
export function planHostFirewall(fault: PracticeFaultOf<"host-firewall">, ground: FaultGround, tag: string): FaultPlan {
  const { node, port } = hostAt(ground, fault.on);
  const blocked = fault.block === "udp" ? [`udp dport ${fault.port}`] : ["ip protocol igmp", "icmpv6 type 130"];
  const rules = blocked.map((match) => `    iifname "${port.interfaceName}" ${match} drop`).join("\n");
  const chain = `  chain act {\n    type filter hook input priority 0; policy accept;\n${rules}\n  }`;
  return {
    claims: [],
    apply: [nft(node.namespace, `table inet ${tag} {\n${chain}\n}\n`)],
    undo: [deleteTable(node.namespace, "inet", tag)],
  };
}

/**
 * The host's strict reverse-path check: its route to the source leads out of another interface, so what the source sends
 * is dropped. Of IPv4 only: the kernel has no such check for IPv6.
 */
export function planHostReversePath({ on, source }: PracticeFaultOf<"reverse-path">, ground: FaultGround): FaultPlan {
  const { node, port } = hostAt(ground, on);
  if (source === on) throw invalid(`"${on}" cannot be its own source`, "Name another host as source");
  const route = `${addressAt(ground, source).ipv4}/32 dev mgmt0`;
  const check = `net/ipv4/conf/${port.interfaceName}/rp_filter`;
  return {
    claims: [`reverse path ${on}`],
    apply: [ip(node.namespace, `route add ${route}`), sysctl(node.namespace, { [check]: 1 })],
    undo: [sysctl(node.namespace, { [check]: 0 }), ip(node.namespace, `route del ${route}`)],
  };
}
