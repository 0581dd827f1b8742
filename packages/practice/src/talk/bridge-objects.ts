import { groupMac, parseIpAddress } from "@dyetrace/wire/ip-address";
import { type OidRow, parseOid } from "./oid-rows.ts";
import type { Talker, TalkerBridge, TalkerPort } from "./talkers.ts";

/** What the kernel says of a node's bridges, as `bridge -j` writes it. */
export interface BridgeState {
  /** `bridge -j fdb show` */
  readonly fdb: readonly {
    readonly mac: string;
    readonly ifname: string;
    readonly flags?: readonly string[];
    readonly master?: string;
    readonly state?: string;
  }[];
  /** `bridge -d -j mdb show`: entries, and the ports towards routers by the bridge's name */
  readonly mdb: readonly { readonly dev: string; readonly port: string; readonly grp: string }[];
  readonly routerPorts: Readonly<Record<string, readonly { readonly port: string }[]>>;
  /** `bridge -j link show` */
  readonly links: readonly { readonly ifname: string; readonly state: string }[];
  /** Ethernet address of each interface. */
  readonly addresses: ReadonlyMap<string, string>;
}

const BRIDGE = parseOid("1.3.6.1.2.1.17");

/** VLAN of a switch whose plan has none: what such switches keep everything in (IEEE 802.1Q, table 9-2: the default PVID). */
const DEFAULT_VLAN = 1;

/**
 * A switch's tables as BRIDGE-MIB (RFC 4188) and Q-BRIDGE-MIB (RFC 4363) have them: ports, spanning tree's states, forwarding
 * and group tables, members of the VLANs. A group stands there by its Ethernet address, as those tables have it.
 */
export function bridgeObjects(talker: Talker, state: BridgeState): OidRow[] {
  if (talker.bridges.length === 0) return [];
  const bridge = { talker, state };
  return [...baseObjects(bridge), ...forwardingObjects(bridge), ...groupObjects(bridge), ...vlanObjects(bridge)];
}

interface Bridge {
  readonly talker: Talker;
  readonly state: BridgeState;
}

const at = (below: string, ...index: readonly number[]): number[] => [...BRIDGE, ...parseOid(below), ...index];
const integer = (oid: readonly number[], value: number): OidRow => ({ oid, type: "integer", value: String(value) });
const gauge = (oid: readonly number[], value: number): OidRow => ({ oid, type: "gauge", value: String(value) });
const octets = (oid: readonly number[], bytes: readonly number[]): OidRow => ({
  oid,
  type: "octet",
  value: bytes.map((byte) => byte.toString(16).padStart(2, "0")).join(" "),
});
const bytesOfMac = (mac: string): number[] => mac.split(":").map((part) => Number.parseInt(part, 16));

/** Numbers of the bridge's ports count from 1, in the order of the plan's links. */
const portNumber = ({ ports }: Talker, interfaceName: string): number =>
  1 + ports.findIndex((port) => port.interfaceName === interfaceName);

/** PortList of RFC 4363: the first port is the highest bit of the first octet. */
function portList(talker: Talker, interfaceNames: readonly string[]): number[] {
  const bytes = new Array<number>(Math.ceil(talker.ports.length / 8)).fill(0);
  for (const name of interfaceNames) {
    const number = portNumber(talker, name) - 1;
    if (number >= 0) bytes[number >> 3] = (bytes[number >> 3] ?? 0) | (0x80 >> (number & 7));
  }
  return bytes;
}

const vlanOf = ({ vlan }: TalkerBridge | TalkerPort): number => vlan ?? DEFAULT_VLAN;

/** dot1dStpPortState */
const PORT_STATES: Readonly<Record<string, number>> = {
  disabled: 1,
  blocking: 2,
  listening: 3,
  learning: 4,
  forwarding: 5,
};

function baseObjects({ talker, state }: Bridge): OidRow[] {
  const [first] = talker.bridges;
  const address = state.addresses.get(first?.interfaceName ?? "");
  const states = new Map(state.links.map((link) => [link.ifname, link.state]));
  return [
    ...(address === undefined ? [] : [octets(at("1.1", 0), bytesOfMac(address))]),
    integer(at("1.2", 0), talker.ports.length),
    integer(at("1.3", 0), 2), // transparent-only
    ...talker.ports.flatMap((port, index) => {
      const spanningTree = PORT_STATES[states.get(port.interfaceName) ?? ""];
      return [
        integer(at("1.4.1.1", index + 1), index + 1),
        integer(at("1.4.1.2", index + 1), port.interfaceIndex),
        integer(at("2.15.1.1", index + 1), index + 1),
        ...(spanningTree === undefined ? [] : [integer(at("2.15.1.3", index + 1), spanningTree)]),
      ];
    }),
  ];
}

function forwardingObjects({ talker, state }: Bridge): OidRow[] {
  const rows = new Map<string, OidRow[]>();
  for (const { mac, ifname, master, flags = [], state: kind } of state.fdb) {
    const bridge = talker.bridges.find(({ interfaceName }) => interfaceName === master);
    const number = portNumber(talker, ifname);
    // Entries of the interface's own filter are marked `self`; multicast ones are groups.
    if (bridge === undefined || number === 0 || flags.includes("self") || (bytesOfMac(mac)[0] ?? 1) & 1) continue;
    const status = kind === "permanent" ? 4 : 3; // self, learned
    const address = bytesOfMac(mac);
    const index = [vlanOf(bridge), ...address];
    const plain =
      bridge.vlan === null
        ? [
            octets(at("4.3.1.1", ...address), address),
            integer(at("4.3.1.2", ...address), number),
            integer(at("4.3.1.3", ...address), status),
          ]
        : [];
    rows.set(index.join("."), [
      ...plain,
      integer(at("7.1.2.2.1.2", ...index), number),
      integer(at("7.1.2.2.1.3", ...index), status),
    ]);
  }
  return [...rows.values()].flat();
}

function groupObjects({ talker, state }: Bridge): OidRow[] {
  const ports = new Map<string, { readonly index: readonly number[]; readonly names: Set<string> }>();
  for (const { dev, port, grp } of state.mdb) {
    const bridge = talker.bridges.find(({ interfaceName }) => interfaceName === dev);
    const group = parseIpAddress(grp);
    // The switch's own groups stand there with the bridge as their port.
    if (bridge === undefined || group === null || portNumber(talker, port) === 0) continue;
    const index = [vlanOf(bridge), ...bytesOfMac(groupMac(group))];
    const known = ports.get(index.join(".")) ?? { index, names: new Set<string>() };
    known.names.add(port);
    ports.set(index.join("."), known);
  }
  return [...ports.values()].flatMap(({ index, names }) => [
    octets(at("7.1.2.3.1.2", ...index), portList(talker, [...names])),
    octets(at("7.1.2.3.1.3", ...index), portList(talker, [...names])),
  ]);
}

function vlanObjects({ talker, state }: Bridge): OidRow[] {
  return [
    integer(at("7.1.1.1", 0), 1),
    gauge(at("7.1.1.4", 0), talker.bridges.length),
    ...talker.bridges.flatMap((bridge) => {
      const vlan = vlanOf(bridge);
      const members = talker.ports.filter((port) => vlanOf(port) === vlan);
      const names = (ports: readonly TalkerPort[]): string[] => ports.map(({ interfaceName }) => interfaceName);
      const untagged = members.filter(({ isTrunk }) => !isTrunk);
      const towardsRouters = (state.routerPorts[bridge.interfaceName] ?? []).map(({ port }) => port);
      return [
        octets(at("7.1.2.4.1.1", vlan), portList(talker, towardsRouters)),
        gauge(at("7.1.4.2.1.3", 0, vlan), vlan),
        octets(at("7.1.4.2.1.4", 0, vlan), portList(talker, names(members))),
        octets(at("7.1.4.2.1.5", 0, vlan), portList(talker, names(untagged))),
        integer(at("7.1.4.2.1.6", 0, vlan), 2), // permanent
        { oid: at("7.1.4.3.1.1", vlan), type: "string", value: `VLAN ${vlan}` } as const,
        octets(at("7.1.4.3.1.2", vlan), portList(talker, names(members))),
        octets(at("7.1.4.3.1.4", vlan), portList(talker, names(untagged))),
        integer(at("7.1.4.3.1.5", vlan), 1), // active
      ];
    }),
    // A trunk's interfaces take frames of their one VLAN only.
    ...talker.ports.map((port, index) => gauge(at("7.1.4.5.1.1", index + 1), vlanOf(port))),
  ];
}
