import { nft, type Step } from "../host/step.ts";
import type { NodeLayout, PortLayout } from "../layout/practice-layout.ts";

/**
 * Where a switch hands membership reports on: to the ports that lead to routers and queriers, and nowhere else (RFC 4541,
 * section 2.1.1, rule 1; section 3 for MLD). A kernel bridge does so with reports of IGMPv1, IGMPv2 and MLDv1 only; those of
 * IGMPv3 and MLDv2 it hands to everybody. So each switch gets an nftables table that keeps them back. A port leads to a
 * querier while queries come in by it (rule 1 a, ii). Before a switch has heard or sent any query it hands reports on to
 * everybody, as the kernel does with all groups then. Unmanaged switches do no snooping, and a radio is heard by all beside
 * it: neither gets a table.
 */
export const keepsReports = ({ kind }: Pick<NodeLayout, "kind">): boolean => kind === "switch";

/**
 * The table of one switch, to be made before it hears its first query.
 * @param routerPorts interfaces that lead to routers, by configuration (rule 1 a, iii)
 * @param forgetsAfterMs how long a query marks its port: as long as a querier is taken to be there (RFC 3376, section 8.5)
 */
export function keepReports(node: NodeLayout, routerPorts: readonly string[], forgetsAfterMs: number): Step {
  const ports = [...node.ports.values()].map(({ interfaceName }) => interfaceName);
  const heard = "update @queried { meta protocol } update @towards { iifname . meta protocol }";
  const forgotten = `flags dynamic,timeout; timeout ${forgetsAfterMs}ms;`;
  return nft(
    node.namespace,
    `table bridge ${tableOf(node)} {
  set ports { typeof iifname; ${elements(ports)} }
  set routers { typeof iifname; ${elements(routerPorts)} }
  set queried { typeof meta protocol; ${forgotten} }
  set towards { typeof iifname . meta protocol; ${forgotten} }
  set flooded { typeof meta protocol; }
  map by-fault { typeof iifname : verdict; }
  chain hear {
    type filter hook prerouting priority -10; policy accept;
    iifname @ports ip saddr != 0.0.0.0 igmp type 0x11 ${heard}
    iifname @ports icmpv6 type 130 ${heard}
  }
  # Before a fault may drop them: a switch that queries in vain still takes itself for the querier.
  chain ask {
    type filter hook output priority -10; policy accept;
    oifname @ports igmp type 0x11 update @queried { meta protocol }
    oifname @ports icmpv6 type 130 update @queried { meta protocol }
  }
  chain pass {
    type filter hook forward priority 10; policy accept;
    iifname @ports igmp type { 0x12, 0x16, 0x22 } jump report
    iifname @ports icmpv6 type { 131, 143 } jump report
  }
  chain report {
    meta protocol @flooded accept
    oifname vmap @by-fault
    oifname @routers accept
    meta protocol != @queried accept
    oifname . meta protocol != @towards drop
  }
}
`,
  );
}

/** Without snooping a switch hands reports on to everybody. */
export const handReportsOn = (node: NodeLayout, isOn: boolean): Step[] =>
  change(node, isOn ? "add" : "delete", "flooded { ip, ip6 }");

/** A port that a fault makes one towards a router, or none. */
export const routerPortByFault = (
  node: NodeLayout,
  { interfaceName }: PortLayout,
  leadsToRouter: boolean,
): { readonly apply: readonly Step[]; readonly undo: readonly Step[] } => ({
  apply: change(node, "add", `by-fault { "${interfaceName}" : ${leadsToRouter ? "accept" : "drop"} }`),
  undo: change(node, "delete", `by-fault { "${interfaceName}" }`),
});

/** A port that the site plan does not have. */
export const foreignPort = (node: NodeLayout, interfaceName: string, isThere: boolean): Step[] =>
  change(node, isThere ? "add" : "delete", `ports { "${interfaceName}" }`);

const change = (node: NodeLayout, verb: "add" | "delete", entry: string): Step[] =>
  keepsReports(node) ? [nft(node.namespace, `${verb} element bridge ${tableOf(node)} ${entry}\n`)] : [];

const tableOf = ({ bridge }: NodeLayout): string => `reports-${bridge}`;

const elements = (interfaceNames: readonly string[]): string =>
  interfaceNames.length === 0 ? "" : `elements = { ${interfaceNames.map((name) => `"${name}"`).join(", ")} };`;
