import type { PortRef } from "../model/site-model.ts";
import type { DrawnLink, DrawnNode } from "./drawing.ts";
import type { DrawnDevice } from "./drawn-device.ts";
import type { DrawnVlans } from "./drawn-vlans.ts";
import type { End, Joint } from "./joined-ends.ts";
import { type PlanNames, planPort } from "./plan-names.ts";

/** Draws the links, with a node in the middle where more than two ends hang together. */
export class SiteLinks {
  readonly nodes: DrawnNode[];
  readonly links: DrawnLink[] = [];
  readonly questions: string[];
  readonly #vlans: DrawnVlans;
  readonly #names: PlanNames;
  readonly #byName: ReadonlyMap<string, DrawnDevice>;

  /** @param nodes, questions to which this adds */
  constructor(
    lists: { readonly nodes: DrawnNode[]; readonly questions: string[] },
    vlans: DrawnVlans,
    names: PlanNames,
    devices: readonly DrawnDevice[],
  ) {
    this.nodes = lists.nodes;
    this.questions = lists.questions;
    this.#vlans = vlans;
    this.#names = names;
    this.#byName = new Map(devices.map((device) => [device.name, device]));
  }

  draw({ ends, because }: Joint): void {
    const shown = ends.filter((end) => end.kind !== "unseen");
    const by = because.every((one) => one.by === "seen") ? "seen" : "concluded";
    const why = [...new Set(because.map(({ text }) => text))].slice(0, 3).join("; ");
    const [first, second] = shown;
    if (first === undefined || second === undefined) return;
    if (shown.length === 2 && ends.length === 2) {
      this.links.push(this.#linkBetween(first, second, by, why));
      return;
    }
    const name = this.#names.take(`unmanaged-${1 + this.nodes.filter(({ kind }) => kind === "unmanaged").length}`);
    this.nodes.push({
      name,
      kind: "unmanaged",
      agent: null,
      addresses: [],
      management: null,
      by: "concluded",
      because: `several ends hang together here: ${why}`,
    });
    const around = shown.map((end) => this.#nameOf(end)).join(", ");
    this.questions.push(
      `What stands between ${around}? It announces nothing and is drawn as one unmanaged switch, ${name}; it may be several, or a switch that keeps silent`,
    );
    for (const [index, end] of shown.entries()) {
      this.links.push(this.#linkToMiddle(end, { node: name, port: String(index + 1) }, why));
    }
  }

  #linkBetween(a: End, b: End, by: "seen" | "concluded", because: string): DrawnLink {
    const ports = [a, b].flatMap((end) => (end.kind === "port" ? [end] : []));
    const devices = ports.map((end) => ({ device: this.#byName.get(end.device), port: end.port }));
    const speeds = devices.flatMap(({ device, port }) => device?.speedOf(port) ?? []);
    const [speed, otherSpeed] = speeds;
    if (speed !== undefined && otherSpeed !== undefined && speed !== otherSpeed) {
      this.questions.push(
        `Which speed has ${this.#nameOf(a)} to ${this.#nameOf(b)}? Its ends say ${speed} and ${otherSpeed} bit/s`,
      );
    }
    const host = [a, b].find((end) => end.kind === "host");
    return {
      a: this.#refOf(a),
      b: this.#refOf(b),
      speedBps: speeds.length === 0 ? null : Math.min(...speeds),
      vlans: host?.kind === "host" ? this.#vlans.ofHost(host.host) : this.#vlans.ofPorts(devices),
      isBlocked: devices.some(({ device, port }) => device?.isBlocked(port)),
      by,
      because,
    };
  }

  #linkToMiddle(end: End, middle: PortRef, because: string): DrawnLink {
    const device = end.kind === "port" ? this.#byName.get(end.device) : undefined;
    const port = end.kind === "port" ? end.port : "";
    return {
      a: this.#refOf(end),
      b: middle,
      speedBps: device?.speedOf(port) ?? null,
      vlans: end.kind === "host" ? this.#vlans.ofHost(end.host) : this.#vlans.ofPorts([{ device, port }]),
      isBlocked: device?.isBlocked(port) ?? false,
      by: "concluded",
      because,
    };
  }

  drawOpen(at: PortRef, host: string, because: string): void {
    const vlans = this.#vlans.ofHost(host);
    this.links.push({
      a: at,
      b: { node: host, port: "eth0" },
      speedBps: null,
      vlans,
      isBlocked: false,
      by: "open",
      because,
    });
  }

  /** Parts that nothing joins are joined by a node that stands for what nobody saw. */
  joinParts(): void {
    const parts = partsOf(this.nodes, this.links);
    if (parts.length < 2) return;
    const unseen = this.#names.take("unseen");
    const because = "nothing that was seen joins these parts";
    for (const [index, [first = ""]] of parts.entries()) {
      const node = this.nodes.find(({ name }) => name === first);
      const here = { node: unseen, port: String(index + 1) };
      if (node?.kind === "host") this.drawOpen(here, first, because);
      else {
        const port = this.freePort(first);
        this.links.push({
          a: { node: first, port },
          b: here,
          speedBps: null,
          vlans: [...this.#vlans.all].toSorted((a, b) => a - b),
          isBlocked: false,
          by: "open",
          because,
        });
      }
    }
    this.nodes.push({
      name: unseen,
      kind: "unmanaged",
      agent: null,
      addresses: [],
      management: null,
      by: "open",
      because,
    });
    const list = parts.map(([first]) => first).join(", ");
    this.questions.push(`What joins ${list}? Nobody saw it; the node ${unseen} stands for it`);
  }

  #nameOf(end: End): string {
    const { node, port } = this.#refOf(end);
    return end.kind === "host" ? node : `${node}:${port}`;
  }

  #refOf(end: End): PortRef {
    if (end.kind === "port") {
      const label = this.#byName.get(end.device)?.label(end.port) ?? end.port;
      return { node: end.device, port: planPort(label) };
    }
    return end.kind === "host" ? { node: end.host, port: "eth0" } : { node: "unseen", port: String(end.number) };
  }

  freePort(node: string): string {
    const taken = new Set(
      this.links.flatMap(({ a, b }) => [a, b]).flatMap((end) => (end.node === node ? end.port : [])),
    );
    for (let number = 1; ; number++) if (!taken.has(`unseen-${number}`)) return `unseen-${number}`;
  }
}

/** Nodes that hang together, each part with the node first that joins it best: a device before a host. */
function partsOf(nodes: readonly DrawnNode[], links: readonly DrawnLink[]): string[][] {
  const near = new Map<string, string[]>(nodes.map(({ name }) => [name, []]));
  for (const { a, b } of links) {
    near.get(a.node)?.push(b.node);
    near.get(b.node)?.push(a.node);
  }
  const seen = new Set<string>();
  return nodes.flatMap(({ name }) => {
    if (seen.has(name)) return [];
    const part = new Set([name]);
    for (const at of part) for (const other of near.get(at) ?? []) part.add(other);
    for (const at of part) seen.add(at);
    return [[...part]];
  });
}
