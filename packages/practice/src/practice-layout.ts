import type { NodeKind, PortRef, SiteGraph, SiteLink } from "@dyetrace/site";
import { Fault } from "@dyetrace/wire";
import { chooseQuerier } from "./choose-querier.ts";
import { interfaceName } from "./interface-name.ts";

/** What the site plan becomes in the kernel: every name and address, decided before anything is built. */
export interface PracticeLayout {
  readonly nodes: ReadonlyMap<string, NodeLayout>;
  /** The node that queries; null when no node snoops. */
  readonly querier: string | null;
}

export interface NodeLayout {
  readonly name: string;
  readonly kind: NodeKind;
  /** Its network namespace; bears the node's name. */
  readonly namespace: string;
  /** Position in the plan, from 0. */
  readonly index: number;
  /** By the plan's port name, in the order of the plan's links. */
  readonly ports: ReadonlyMap<string, PortLayout>;
}

export interface PortLayout {
  readonly port: string;
  readonly interfaceName: string;
  /** Unlike any other of the site. */
  readonly interfaceIndex: number;
  readonly mac: string;
  /** Null for the ports of a node that forwards. */
  readonly address: HostAddress | null;
  readonly peer: PortRef;
  readonly link: SiteLink;
}

/** A host's port has the same last two numbers on the tested network (both families) and on the management network. */
export interface HostAddress {
  readonly ipv4: string;
  readonly ipv6: string;
  readonly management: string;
}

/** The querier's own, on its bridge: lower than any host's, so that no host could win the election. */
export const QUERIER_ADDRESS = { ipv4: "10.77.1.1", ipv6: "fe80::1:1" } as const;
/** Lower still: the foreign querier of the fault `second-querier`. */
export const FOREIGN_QUERIER_ADDRESS = { ipv4: "10.77.0.1", ipv6: "fe80::1" } as const;
export const MANAGEMENT_ADDRESS = "10.254.0.1";
export const MANAGEMENT_PORT = 8472;

/**
 * @param firstSource the host from whose side a querier is chosen where the plan declares none
 * @throws {Fault} SITE_PLAN_INVALID where the plan cannot stand on one machine: routers, ports of one name
 */
export function layPracticeSite(graph: SiteGraph, firstSource: string | null): PracticeLayout {
  refuseRouters(graph);
  const portsOf = collectPorts(graph);
  const addresses = hostAddresses();
  const nodes = new Map<string, NodeLayout>();
  for (const [index, node] of [...graph.nodes.values()].entries()) {
    const ports = layPorts(node.name, index, portsOf.get(node.name) ?? [], node.kind === "host" ? addresses : null);
    nodes.set(node.name, { name: node.name, kind: node.kind, namespace: node.name, index, ports });
  }
  return { nodes, querier: chooseQuerier(graph, firstSource) };
}

type PlainPort = Pick<PortLayout, "port" | "peer" | "link">;

function layPorts(
  node: string,
  nodeIndex: number,
  plain: readonly PlainPort[],
  addresses: Iterator<HostAddress> | null,
): ReadonlyMap<string, PortLayout> {
  const ports = new Map<string, PortLayout>();
  const taken = new Map<string, string>(RESERVED_INTERFACES);
  for (const [index, { port, peer, link }] of plain.entries()) {
    const name = interfaceName(port);
    const other = taken.get(name);
    if (other !== undefined) throw planFault(`The port "${port}" of "${node}" would be called ${name}, like ${other}`);
    taken.set(name, `its port "${port}"`);
    const mac = `02:77:${hexBytes(nodeIndex)}:${hexBytes(index)}`;
    const interfaceIndex =
      FIRST_INTERFACE_INDEX + 2 * link.index + (link.a.node === node && link.a.port === port ? 0 : 1);
    const address: HostAddress | null = addresses?.next().value ?? null;
    ports.set(port, { port, interfaceName: name, interfaceIndex, mac, address, peer, link });
  }
  return ports;
}

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

function* hostAddresses(): Generator<HostAddress> {
  for (let number = 0; ; number++) {
    const [third, fourth] = [2 + Math.floor(number / 250), 1 + (number % 250)];
    yield {
      ipv4: `10.77.${third}.${fourth}`,
      ipv6: `fd77::${third.toString(16)}:${fourth.toString(16)}`,
      management: `10.254.${third}.${fourth}`,
    };
  }
}

function collectPorts(graph: SiteGraph): ReadonlyMap<string, readonly PlainPort[]> {
  const ports = new Map<string, PlainPort[]>();
  for (const link of graph.links) {
    for (const [own, peer] of [[link.a, link.b] as const, [link.b, link.a] as const]) {
      const list = ports.get(own.node) ?? [];
      list.push({ port: own.port, peer, link });
      ports.set(own.node, list);
    }
  }
  return ports;
}

function refuseRouters(graph: SiteGraph): void {
  for (const node of graph.nodes.values()) {
    if (node.kind !== "router") continue;
    throw new Fault(
      "SITE_PLAN_INVALID",
      `The practice site cannot build "${node.name}": it has no routers yet`,
      "Leave the router out, or put the parts behind it into a plan of their own",
    );
  }
}

const hexBytes = (value: number): string =>
  value
    .toString(16)
    .padStart(4, "0")
    .replace(/^(..)(..)$/, "$1:$2");

const planFault = (message: string): Fault =>
  new Fault("SITE_PLAN_INVALID", message, "Rename one of them in the site plan");
