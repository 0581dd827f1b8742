import { type PortRef, planPlace, type SiteLink, unfoldedNames } from "@dyetrace/site";
import { Fault } from "@dyetrace/wire";
import type { PortAddress } from "../layout/address-plan.ts";
import { isForwarding, isSnooping } from "../layout/node-kinds.ts";
import { type NodeLayout, type PortLayout, portOfLink } from "../layout/practice-layout.ts";
import type { FaultGround } from "./fault-plan.ts";

/** One end of a link, with its node. */
export interface LinkEnd {
  readonly node: NodeLayout;
  readonly port: PortLayout;
}

export interface LinkDirection {
  readonly from: LinkEnd;
  readonly to: LinkEnd;
}

/**
 * The names under which a place of the plan stands in the unfolded site: a trunk or switch once for each VLAN.
 * @param vlan the one to name; null for all
 * @returns the place as written where nothing is known of it
 * @throws {Fault} PRACTICE_FAULT_INVALID if the VLAN is not there
 */
export function placesInVlans({ layout }: FaultGround, on: string, vlan: number | null): string[] {
  const { site } = layout;
  const isIn = (links: readonly SiteLink[]): boolean =>
    vlan === null || links.some((link) => link.vlans?.includes(vlan));
  const places = on.includes(">")
    ? unfoldedNames(site, on.replace(/\s+/g, "")).flatMap((place) => {
        const link = site.segments.get(place)?.link;
        return link === undefined ? [] : [{ place, links: [link] }];
      })
    : on.includes(":")
      ? [...layout.nodes.values()].flatMap(({ name, namespace, ports }) =>
          [...ports.values()].flatMap(({ port, link }) =>
            `${namespace}:${planPlace(port)}` === on ? [{ place: `${name}:${port}`, links: [link] }] : [],
          ),
        )
      : unfoldedNames(site, on).map((place) => ({
          place,
          links: (site.outgoing.get(place) ?? []).map(({ link }) => link),
        }));
  if (places.length === 0) return [on];
  const inVlan = places.filter(({ links }) => isIn(links));
  if (inVlan.length === 0) throw invalid(`"${on}" carries no VLAN ${vlan}`, "Name a VLAN that crosses it");
  return inVlan.map(({ place }) => place);
}

/** @throws {Fault} PRACTICE_FAULT_INVALID */
export function directionAt({ graph, layout }: FaultGround, on: string): LinkDirection {
  const segment = layout.site.segments.get(on);
  if (segment === undefined) {
    const example = graph.segments.keys().next().value ?? "a:1>b:1";
    throw invalid(
      `"${on}" is not a direction of a link of the site plan`,
      `Write it from one port to the other, like ${example}`,
    );
  }
  const end = ({ node: name, port: portName }: PortRef): LinkEnd => {
    const node = layout.nodes.get(name);
    const port = node === undefined ? undefined : portOfLink(node, segment.link);
    if (node === undefined || port === undefined) throw new Error(`the layout lacks ${name}:${portName}`);
    return { node, port };
  };
  return { from: end(segment.from), to: end(segment.to) };
}

/** @throws {Fault} PRACTICE_FAULT_INVALID, also if the port is a host's or a router's */
export function switchPortAt(ground: FaultGround, on: string): LinkEnd {
  const end = networkPortAt(ground, on);
  if (isForwarding(end.node.kind)) return end;
  throw invalid(
    `"${on}" is a router's port, and this fault belongs on a switch`,
    `Name the other end: ${end.port.peer.node}:${end.port.peer.port}`,
  );
}

/** @throws {Fault} PRACTICE_FAULT_INVALID, also if the port is a host's */
export function networkPortAt({ layout }: FaultGround, on: string): LinkEnd {
  const [, name = "", portName = ""] = /^(.*?):(.*)$/.exec(on) ?? [];
  const node = layout.nodes.get(name);
  const port = node?.ports.get(portName);
  if (node === undefined || port === undefined) {
    throw invalid(`"${on}" is not a port of the site plan`, "Write the node and its port, like core:1");
  }
  if (node.kind !== "host") return { node, port };
  throw invalid(
    `"${on}" is a host's port, and this fault belongs on a switch`,
    `Name the other end: ${port.peer.node}:${port.peer.port}`,
  );
}

/** @throws {Fault} PRACTICE_FAULT_INVALID */
export function nodeAt({ graph, layout }: FaultGround, on: string): NodeLayout {
  const node = layout.nodes.get(on);
  if (node !== undefined) return node;
  throw invalid(`The site plan has no node "${on}"`, `Its nodes: ${[...graph.nodes.keys()].join(", ")}`);
}

/** @throws {Fault} PRACTICE_FAULT_INVALID */
export function routerAt(ground: FaultGround, on: string): NodeLayout {
  const node = nodeAt(ground, on);
  if (node.kind === "router") return node;
  throw invalid(`"${planPlace(on)}" is no router, and this fault belongs on one`, "Name a router");
}

/** @throws {Fault} PRACTICE_FAULT_INVALID if it is a host */
export function networkNodeAt(ground: FaultGround, on: string): NodeLayout {
  const node = nodeAt(ground, on);
  return node.kind === "router" ? node : forwarderAt(ground, on);
}

/** @throws {Fault} PRACTICE_FAULT_INVALID */
export function snooperAt(ground: FaultGround, on: string): NodeLayout {
  const node = nodeAt(ground, on);
  if (isSnooping(node.kind)) return node;
  throw invalid(`"${on}" does not snoop, and this fault is about snooping`, "Name a switch or an access point");
}

/** @throws {Fault} PRACTICE_FAULT_INVALID */
export function forwarderAt(ground: FaultGround, on: string): NodeLayout {
  const node = nodeAt(ground, on);
  if (isForwarding(node.kind)) return node;
  throw invalid(
    `"${on}" is a host, and this fault belongs on a node that forwards`,
    "Name a switch, or the link to the host",
  );
}

/** @throws {Fault} PRACTICE_FAULT_INVALID, also if the host has no link */
export function hostAt(ground: FaultGround, on: string): LinkEnd {
  const node = nodeAt(ground, on);
  const [port] = node.ports.values();
  if (node.kind === "host" && port !== undefined) return { node, port };
  throw invalid(`"${on}" is not a host with a link`, "Name a host");
}

/** @throws {Fault} PRACTICE_FAULT_INVALID */
export function addressAt(ground: FaultGround, host: string): PortAddress {
  const { address } = hostAt(ground, host).port;
  if (address === null) throw new Error(`the layout gave ${host} no address`);
  return address;
}

export const invalid = (message: string, hint: string): Fault => new Fault("PRACTICE_FAULT_INVALID", message, hint);
