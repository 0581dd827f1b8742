import {
  type NodeKind,
  type PortRef,
  planPlace,
  type SiteGraph,
  type SiteLink,
  type SiteNode,
  unfoldVlans,
  vlanOfPlace,
} from "@dyetrace/site";
import { Fault } from "@dyetrace/wire";
import { type AddressPlan, type PortAddress, planAddresses } from "./address-plan.ts";
import { chooseQueriers } from "./choose-querier.ts";
import { QUERIER_ADDRESS } from "./fixed-addresses.ts";
import { interfaceName } from "./interface-name.ts";

/** What the site plan becomes in the kernel: every name and address, decided before anything is built. */
export interface PracticeLayout {
  /** The plan unfolded: names of nodes below are its. */
  readonly site: SiteGraph;
  readonly nodes: ReadonlyMap<string, NodeLayout>;
  readonly addresses: AddressPlan;
  /** The nodes that query, one in each subnet that has a node that snoops. */
  readonly queriers: readonly QuerierLayout[];
}

export interface NodeLayout {
  readonly name: string;
  readonly kind: NodeKind;
  /** Its network namespace; bears the name that the plan gives the node, whatever VLAN this is of it. */
  readonly namespace: string;
  /** The bridge of a node that forwards: one for each VLAN of a switch. */
  readonly bridge: string;
  /** Position in the unfolded plan, from 0. */
  readonly index: number;
  /** By the plan's port name, in the order of the plan's links; a router's port with several VLANs as `port vlan 20`. */
  readonly ports: ReadonlyMap<string, PortLayout>;
}

export interface PortLayout {
  readonly port: string;
  readonly interfaceName: string;
  /** Unlike any other of the site. */
  readonly interfaceIndex: number;
  readonly mac: string;
  /** Null for the ports of a node that forwards frames. */
  readonly address: PortAddress | null;
  readonly peer: PortRef;
  readonly link: SiteLink;
  /** Whether it is the end that the plan writes first. */
  readonly isFirstEnd: boolean;
}

export interface QuerierLayout {
  /** Name of the node. */
  readonly node: string;
  readonly ipv4: string;
  readonly ipv4PrefixBits: number;
  /** Link-local: that is what MLD queries come from. */
  readonly ipv6: string;
}

/**
 * @param firstSource the host from whose side a querier is chosen where the plan declares none
 * @throws {Fault} SITE_PLAN_INVALID where the plan cannot stand on one machine: ports of one name, subnets too small
 */
export function layPracticeSite(graph: SiteGraph, firstSource: string | null): PracticeLayout {
  const site = unfoldVlans(graph);
  const queriers = chooseQueriers(graph, firstSource);
  const addresses = planAddresses(site, queriers);
  const taken = new Map<string, Map<string, string>>();
  const nodes = new Map<string, NodeLayout>();
  for (const [index, node] of [...site.nodes.values()].entries()) {
    const namespace = planPlace(node.name);
    const names = taken.get(namespace) ?? new Map<string, string>(RESERVED_INTERFACES);
    taken.set(namespace, names);
    const vlan = vlanOfPlace(node.name);
    const bridge = vlan === null ? "br0" : `br${vlan}`;
    const ports = layPorts(site, node, index, addresses, names);
    nodes.set(node.name, { name: node.name, kind: node.kind, namespace, bridge, index, ports });
  }
  return {
    site,
    nodes,
    addresses,
    queriers: queriers.map((node) => {
      const { address: ipv4, prefixBits: ipv4PrefixBits } = addresses.ofQuerier(node);
      return { node, ipv4, ipv4PrefixBits, ipv6: QUERIER_ADDRESS.ipv6 };
    }),
  };
}

function layPorts(
  site: SiteGraph,
  node: SiteNode,
  nodeIndex: number,
  addresses: AddressPlan,
  taken: Map<string, string>,
): ReadonlyMap<string, PortLayout> {
  const ports = new Map<string, PortLayout>();
  for (const [index, segment] of (site.outgoing.get(node.name) ?? []).entries()) {
    const { link, from, to } = segment;
    // A trunk has an interface for each VLAN, and its segments then bear the VLAN's number.
    const vlan = vlanOfPlace(segment.id);
    const isRepeated = vlan !== null && vlanOfPlace(node.name) === null;
    const port = isRepeated ? `${from.port} vlan ${vlan}` : from.port;
    const name = `${interfaceName(from.port)}${vlan === null ? "" : `.${vlan}`}`;
    const other = taken.get(name);
    const what = `The port "${from.port}" of "${planPlace(node.name)}"`;
    if (other !== undefined) throw planFault(`${what} would be called ${name}, like ${other}`);
    if (name.length > LONGEST_NAME)
      throw planFault(`${what} would be called ${name}, more than the kernel's 15 letters`);
    taken.set(name, `its port "${from.port}"`);
    const mac = `02:77:${hexBytes(nodeIndex)}:${hexBytes(index)}`;
    const isFirstEnd = link.a.node === node.name && link.a.port === from.port;
    const interfaceIndex = FIRST_INTERFACE_INDEX + 2 * link.index + (isFirstEnd ? 0 : 1);
    const address = addresses.ofEnd(segment);
    ports.set(port, { port, interfaceName: name, interfaceIndex, mac, address, peer: to, link, isFirstEnd });
  }
  return ports;
}

const LONGEST_NAME = 15;

/**
 * Both ends of a link must differ in index: where they are alike, the kernel takes a virtual link for a plain interface
 * and lets up to a second pass before it tells the bridge of the carrier (`linkwatch_urgent_event` in
 * net/core/link_watch.c).
 */
const FIRST_INTERFACE_INDEX = 1_000;

const RESERVED_INTERFACES: readonly (readonly [string, string])[] = [
  ["lo", "the loopback interface"],
  ["br0", "the bridge that every switch has"],
  ["mgmt0", "the management interface"],
];

/** A node's port at one of its links. */
export const portOfLink = ({ ports }: NodeLayout, link: SiteLink): PortLayout | undefined =>
  [...ports.values()].find((port) => port.link === link);

const hexBytes = (value: number): string =>
  value
    .toString(16)
    .padStart(4, "0")
    .replace(/^(..)(..)$/, "$1:$2");

const planFault = (message: string): Fault =>
  new Fault("SITE_PLAN_INVALID", message, "Rename one of them in the site plan");
