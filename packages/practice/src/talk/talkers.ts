import { planPlace, type SiteNode } from "@dyetrace/site";
import type { NodeLayout, PortLayout, PracticeLayout } from "../layout/practice-layout.ts";

/** A switch, router or access point that announces itself and answers questions: one for each namespace. */
export interface Talker {
  /** Name of the plan's node, and of its namespace. */
  readonly name: string;
  readonly kind: SiteNode["kind"];
  /** On the management network. */
  readonly management: string;
  /** Its bridges, one for each VLAN; empty for a router. */
  readonly bridges: readonly TalkerBridge[];
  readonly ports: readonly TalkerPort[];
}

export interface TalkerBridge {
  readonly interfaceName: string;
  /** Null in a plan without VLANs. */
  readonly vlan: number | null;
}

export interface TalkerPort {
  /** As the plan has it: what the node announces. */
  readonly port: string;
  readonly interfaceName: string;
  readonly interfaceIndex: number;
  readonly vlan: number | null;
  /** Whether the link carries several VLANs: this interface stands for one of them. */
  readonly isTrunk: boolean;
  readonly speedBps: number | null;
  /** An access point announces nothing over the air. */
  readonly isAnnouncing: boolean;
}

/** @returns those of the plan that have something to say, unless it keeps them silent */
export function talkersOf(layout: PracticeLayout): readonly Talker[] {
  const byName = new Map<string, NodeLayout[]>();
  for (const node of layout.nodes.values()) {
    if (!CAN_TALK.has(node.kind) || layout.site.nodes.get(node.name)?.announces === false) continue;
    byName.set(node.namespace, [...(byName.get(node.namespace) ?? []), node]);
  }
  return [...byName].map(([name, nodes], number) => ({
    name,
    kind: nodes[0]?.kind ?? "switch",
    management: managementOf(number),
    bridges: nodes.flatMap((node) =>
      node.kind === "router" ? [] : [{ interfaceName: node.bridge, vlan: vlanOfNode(node) }],
    ),
    ports: nodes.flatMap((node) => [...node.ports.values()].map((port) => talkerPort(layout, node, port))),
  }));
}

const CAN_TALK: ReadonlySet<SiteNode["kind"]> = new Set(["switch", "router", "access-point"]);

/** Away from the hosts' addresses on the management network, which begin at 10.254.2.1. */
const managementOf = (number: number): string => `10.254.${200 + Math.floor(number / 250)}.${1 + (number % 250)}`;

const vlanOfNode = (node: NodeLayout): number | null => {
  const [vlan] = [...node.ports.values()].flatMap(({ link }) => link.vlans ?? []);
  return vlan ?? null;
};

function talkerPort(layout: PracticeLayout, node: NodeLayout, port: PortLayout): TalkerPort {
  const { interfaceName, interfaceIndex, link } = port;
  const [vlan = null] = link.vlans ?? [];
  const isWireless = node.kind === "access-point" && layout.site.nodes.get(port.peer.node)?.kind === "host";
  return {
    port: planPlace(port.port),
    interfaceName,
    interfaceIndex,
    vlan,
    // A trunk's interfaces bear the VLAN's number behind the port's name.
    isTrunk: vlan !== null && interfaceName.endsWith(`.${vlan}`),
    speedBps: link.speedBps,
    isAnnouncing: !isWireless,
  };
}
