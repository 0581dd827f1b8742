import type { PortRef } from "@dyetrace/site";
import { Fault } from "@dyetrace/wire";
import { isForwarding, isSnooping } from "../node-kinds.ts";
import type { NodeLayout, PortLayout } from "../practice-layout.ts";
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

/** @throws {Fault} PRACTICE_FAULT_INVALID */
export function directionAt({ graph, layout }: FaultGround, on: string): LinkDirection {
  const segment = graph.segments.get(on.replace(/\s+/g, ""));
  if (segment === undefined) {
    const example = graph.segments.keys().next().value ?? "a:1>b:1";
    throw invalid(
      `"${on}" is not a direction of a link of the site plan`,
      `Write it from one port to the other, like ${example}`,
    );
  }
  const end = ({ node: name, port: portName }: PortRef): LinkEnd => {
    const node = layout.nodes.get(name);
    const port = node?.ports.get(portName);
    if (node === undefined || port === undefined) throw new Error(`the layout lacks ${name}:${portName}`);
    return { node, port };
  };
  return { from: end(segment.from), to: end(segment.to) };
}

/** @throws {Fault} PRACTICE_FAULT_INVALID, also if the port is a host's */
export function switchPortAt({ layout }: FaultGround, on: string): LinkEnd {
  const [, name = "", portName = ""] = /^(.*?):(.*)$/.exec(on) ?? [];
  const node = layout.nodes.get(name);
  const port = node?.ports.get(portName);
  if (node === undefined || port === undefined) {
    throw invalid(`"${on}" is not a port of the site plan`, "Write the node and its port, like core:1");
  }
  if (isForwarding(node.kind)) return { node, port };
  throw invalid(
    `"${on}" is a host's port, and this fault belongs on a switch`,
    `Name the other end: ${port.peer.node}:${port.peer.port}`,
  );
}

/** @throws {Fault} PRACTICE_FAULT_INVALID */
export function nodeAt({ layout }: FaultGround, on: string): NodeLayout {
  const node = layout.nodes.get(on);
  if (node !== undefined) return node;
  throw invalid(`The site plan has no node "${on}"`, `Its nodes: ${[...layout.nodes.keys()].join(", ")}`);
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

export const invalid = (message: string, hint: string): Fault => new Fault("PRACTICE_FAULT_INVALID", message, hint);
