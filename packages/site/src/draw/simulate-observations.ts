import { blankReading } from "@dyetrace/wire/devices/blank-reading";
import type { DevicePort } from "@dyetrace/wire/devices/device-port";
import type { DeviceReading } from "@dyetrace/wire/devices/device-reading";
import type { AgentSurroundings, Announcement } from "@dyetrace/wire/surroundings/surroundings-schema";
import type { SiteGraph, SiteLink, SiteNode } from "../model/site-model.ts";
import { loadSitePlan } from "../plan/load-site-plan.ts";
import { pathBetween } from "../ways/site-path.ts";
import type { Observations } from "./observations.ts";

const macOf = (number: number): string =>
  `02:00:5e:10:${(number >> 8).toString(16).padStart(2, "0")}:${(number & 255).toString(16).padStart(2, "0")}`;

/**
 * What agents and switches of a site would say, worked out from its plan by the rules of bridges: announcements go no farther than
 * the next node (IEEE 802.1AB, 7.1), and a bridge learns an address on the port by which it comes (IEEE 802.1Q, 8.7).
 * @param silent nodes that announce nothing and cannot be read
 */
export function simulateObservations(
  graph: SiteGraph,
  silent: ReadonlySet<string> = new Set(),
  options: { readonly reads?: boolean } = {},
): Observations {
  const nodes = [...graph.nodes.values()];
  const number = new Map(nodes.map(({ name }, index) => [name, index + 1]));
  const mac = (name: string): string => macOf(number.get(name) ?? 0);
  const talks = ({ name, kind }: SiteNode): boolean => kind !== "host" && kind !== "unmanaged" && !silent.has(name);
  const links = (name: string): readonly SiteLink[] => (graph.outgoing.get(name) ?? []).map(({ link }) => link);
  const endsAt = (link: SiteLink, name: string) =>
    link.a.node === name ? { own: link.a, peer: link.b } : { own: link.b, peer: link.a };
  const announcement = (node: SiteNode, link: SiteLink): Announcement => ({
    source: mac(node.name),
    chassis: mac(node.name),
    portId: endsAt(link, node.name).own.port,
    ttlS: 120,
    portDescription: null,
    systemName: node.name,
    systemDescription: null,
    capabilities:
      node.kind === "router" ? ["router"] : node.kind === "access-point" ? ["bridge", "access-point"] : ["bridge"],
    addresses: [],
    untaggedVlan: link.vlans?.length === 1 ? (link.vlans[0] ?? null) : null,
    vlans: [],
  });
  const hosts = nodes.flatMap((node): AgentSurroundings[] => {
    const [link] = links(node.name);
    if (node.kind !== "host" || node.agent === null || link === undefined) return [];
    const peer = graph.nodes.get(endsAt(link, node.name).peer.node);
    const isHeard = peer !== undefined && talks(peer) && peer.kind !== "access-point";
    return [
      {
        agent: node.agent,
        toldAgoMs: 0,
        surroundings: {
          announcements: isHeard ? [{ announcement: announcement(peer, link), agoMs: 5_000 }] : [],
          heardForMs: 600_000,
          addresses: [],
          mac: mac(node.name),
          gateways: [],
        },
      },
    ];
  });
  const macs = nodes.filter(({ kind }) => kind === "host" || kind === "switch").map(({ name }) => name);
  const readings = nodes.filter(talks).map((node): DeviceReading => {
    const own = links(node.name);
    const portOf = (link: SiteLink): string => `Gi0/${endsAt(link, node.name).own.port}`;
    const vlansOf = (link: SiteLink): readonly number[] => link.vlans ?? [1];
    const ports = own.map(
      (link, index): DevicePort => ({
        name: portOf(link),
        index: index + 1,
        number: node.kind === "router" ? null : index + 1,
        announcedAs: endsAt(link, node.name).own.port,
        alias: endsAt(link, node.name).own.port,
        mac: null,
        type: 6,
        speedBps: link.speedBps,
        up: true,
        enabled: true,
        duplex: "full",
        spanningTree: link.isBlocked === true ? "blocking" : "forwarding",
        untaggedVlan: vlansOf(link).length === 1 ? (vlansOf(link)[0] ?? null) : null,
        counters: NO_COUNTERS,
        countersFromMs: 0,
        countersToMs: 0,
      }),
    );
    const vlans = [...new Set(own.flatMap(vlansOf))];
    const forwarding = macs.flatMap((name) => {
      if (name === node.name || node.kind === "router") return [];
      const path = pathBetween(graph, node.name, name);
      const first = path?.segments[0];
      const isRouted = path?.nodes.slice(1, -1).some((at) => graph.nodes.get(at)?.kind === "router");
      if (first === undefined || isRouted === true) return [];
      const last = path?.segments.at(-1)?.link;
      const vlan = last?.vlans?.length === 1 ? (last.vlans[0] ?? null) : (first.link.vlans?.[0] ?? 1);
      return [{ vlan, mac: mac(name), port: portOf(first.link), status: "learned" as const }];
    });
    return {
      ...blankReading({
        node: node.name,
        readAt: "2026-01-01T00:00:00Z",
        by: "snmp-v3",
        address: `192.0.2.${number.get(node.name)}`,
      }),
      chassis: mac(node.name),
      ports,
      neighbours: own.flatMap((link) => {
        const peer = graph.nodes.get(endsAt(link, node.name).peer.node);
        if (peer === undefined || !talks(peer)) return [];
        const { source: _, ttlS: __, untaggedVlan: ___, vlans: ____, ...said } = announcement(peer, link);
        return [{ ...said, port: portOf(link) }];
      }),
      forwarding,
      vlans: vlans.map((vlan) => ({
        vlan,
        name: null,
        ports: own.filter((link) => vlansOf(link).includes(vlan)).map(portOf),
        untagged: null,
      })),
      unread: [],
    };
  });
  return { hosts, readings: options.reads === false ? [] : readings };
}

const NO_COUNTERS: DevicePort["counters"] = {
  inOctets: null,
  outOctets: null,
  inUnicast: null,
  outUnicast: null,
  inMulticast: null,
  outMulticast: null,
  inBroadcast: null,
  outBroadcast: null,
  inErrors: null,
  outErrors: null,
  inDiscards: null,
  outDiscards: null,
  multicastBits: null,
};

/** A campus: a core, distribution switches, edge switches with hosts; 20 switches by default. */
export function campus(distributions = 4, edgesOfEach = 3, hostsOfEach = 3): SiteGraph {
  const nodes = ["core: { kind: switch, querier: true }"];
  const links: string[] = [];
  for (let d = 1; d <= distributions; d++) {
    nodes.push(`dist-${d}: { kind: switch }`);
    links.push(`{ between: ["core:${d}", "dist-${d}:48"], speed: 10 Gbit/s }`);
    for (let e = 1; e <= edgesOfEach; e++) {
      const edge = `edge-${d}-${e}`;
      nodes.push(`${edge}: { kind: switch }`);
      links.push(`{ between: ["dist-${d}:${e}", "${edge}:24"], speed: 1 Gbit/s }`);
      for (let h = 1; h <= hostsOfEach; h++) {
        nodes.push(`host-${d}-${e}-${h}: { kind: host }`);
        links.push(`{ between: ["${edge}:${h}", "host-${d}-${e}-${h}:eth0"], speed: 1 Gbit/s }`);
      }
    }
  }
  for (let extra = 1; 1 + distributions * (1 + edgesOfEach) + extra <= 20; extra++) {
    nodes.push(`hall-${extra}: { kind: switch }`, `hall-host-${extra}: { kind: host }`);
    links.push(`"core:${20 + extra} -- hall-${extra}:24"`, `"hall-${extra}:1 -- hall-host-${extra}:eth0"`);
  }
  return loadSitePlan(`site: Campus\nnodes: { ${nodes.join(", ")} }\nlinks: [ ${links.join(", ")} ]\n`, "campus.yaml");
}

/** A link as text, whichever end is written first. */
export const linkText = ({ a, b }: Pick<SiteLink, "a" | "b">): string =>
  [`${a.node}:${a.port}`, `${b.node}:${b.port}`].toSorted().join(" -- ");
