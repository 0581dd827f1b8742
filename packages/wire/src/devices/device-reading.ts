import Type, { type Static } from "@dyetrace/schema";
import { words } from "../bounds.ts";
import type { DeepReadonly } from "../deep-readonly.ts";
import { Nullable } from "../nullable.ts";
import { CapabilitySchema } from "./capability.ts";
import {
  MOST_DEVICE_ADDRESSES,
  MOST_DEVICE_GROUPS,
  MOST_DEVICE_NEIGHBOURS,
  MOST_DEVICE_PORTS,
  MOST_DEVICE_VLANS,
} from "./device-limits.ts";
import { DevicePortName, DeviceVlan, Mac } from "./device-names.ts";
import { DevicePortSchema } from "./device-port.ts";

const Address = words(45, 1);
const PortNames = Type.Array(DevicePortName, { maxItems: MOST_DEVICE_PORTS });

/** What a neighbour announced on one port: a row of lldpRemTable (LLDP-MIB, IEEE 802.1AB). Texts as it sent them. */
export const DeviceNeighbourSchema = Type.Object({
  port: DevicePortName,
  /** An Ethernet address as `02:00:5e:10:00:01`, an IP address as such, other kinds as text. */
  chassis: words(255),
  /** The same for the port at its end. */
  portId: words(255),
  portDescription: Nullable(words(255)),
  systemName: Nullable(words(255)),
  systemDescription: Nullable(words(255)),
  /** Names of IEEE 802.1AB 8.5.8 that it says are enabled; null: it said none. */
  capabilities: Nullable(Type.Array(CapabilitySchema, { maxItems: 8 })),
  /** IP addresses at which it is managed. */
  addresses: Type.Array(Address, { maxItems: 64 }),
});
export type DeviceNeighbour = DeepReadonly<Static<typeof DeviceNeighbourSchema>>;

/** An Ethernet address that the device learned: dot1qTpFdbTable (RFC 4363), or dot1dTpFdbTable (RFC 4188) without VLANs. */
export const DeviceForwardingSchema = Type.Object({
  /** Null: the table has no VLANs. */
  vlan: Nullable(DeviceVlan),
  mac: Mac,
  /** Null: learned, but on no port that the reading knows. */
  port: Nullable(DevicePortName),
  /** `self`: the device's own address; `managed`: somebody entered it. */
  status: Type.Union([Type.Literal("learned"), Type.Literal("self"), Type.Literal("managed"), Type.Literal("other")]),
});
export type DeviceForwarding = DeepReadonly<Static<typeof DeviceForwardingSchema>>;

/** Ports of a VLAN: dot1qVlanCurrentTable (RFC 4363). */
export const DeviceVlanSchema = Type.Object({
  vlan: DeviceVlan,
  name: Nullable(words(255)),
  /** All ports that send its frames. */
  ports: PortNames,
  /** Those of them that send its frames without a tag; null: not known. */
  untagged: Nullable(PortNames),
});
export type DeviceVlanMembers = DeepReadonly<Static<typeof DeviceVlanSchema>>;

/** To which ports a group is sent on: dot1qTpGroupTable (RFC 4363), or as an operator pasted it. */
export const DeviceGroupSchema = Type.Object({
  /** Null: the table has no VLANs. */
  vlan: Nullable(DeviceVlan),
  /**
   * An IP address; or where the table knows Ethernet addresses only, that, such as `01:00:5e:43:0a:04`: 32 IPv4 groups have it
   * in common (RFC 1112, section 6.4).
   */
  group: words(45, 1),
  ports: PortNames,
});
export type DeviceGroup = DeepReadonly<Static<typeof DeviceGroupSchema>>;

/**
 * Ports to which a switch sends all groups of a VLAN, asked for or not, as it does towards routers and queriers (RFC 4541, section
 * 2.1.2): dot1qForwardAllPorts (RFC 4363). There is no standard table of "router ports" by that name.
 */
export const DeviceRouterPortsSchema = Type.Object({ vlan: Nullable(DeviceVlan), ports: PortNames });

/** Who asks for memberships, as the device has it: mgmdRouterInterfaceTable (MGMD-STD-MIB, RFC 5519). */
export const DeviceQuerierSchema = Type.Object({
  /** The interface; null where it is none of `ports`. */
  port: Nullable(DevicePortName),
  protocol: Type.Union([Type.Literal("igmp"), Type.Literal("mld")]),
  /** mgmdRouterInterfaceQuerier; null where it names none. */
  address: Nullable(Address),
  /** 1 to 3 of IGMP, 1 and 2 of MLD; null: not known. */
  version: Nullable(Type.Union([Type.Literal(1), Type.Literal(2), Type.Literal(3)])),
  /** mgmdRouterInterfaceQueryInterval, s. */
  queryIntervalS: Nullable(Type.Integer({ minimum: 0, maximum: 31_744 })),
});
export type DeviceQuerier = DeepReadonly<Static<typeof DeviceQuerierSchema>>;

/** A group that a router keeps for an interface: mgmdRouterCacheTable (RFC 5519). */
export const DeviceMembershipSchema = Type.Object({ port: Nullable(DevicePortName), group: Address });

/** A route of a group: ipMcastRouteTable and ipMcastRouteNextHopTable (IPMCAST-MIB, RFC 5132). */
export const DeviceRouteSchema = Type.Object({
  group: Address,
  /** Null: of any source. */
  source: Nullable(Address),
  /** Where it has to come in; null: not known. */
  from: Nullable(DevicePortName),
  /** Where it goes out. */
  to: PortNames,
  /** ipMcastRoutePkts; null: not counted. */
  packets: Nullable(Type.Integer({ minimum: 0, maximum: Number.MAX_SAFE_INTEGER })),
});
export type DeviceRoute = DeepReadonly<Static<typeof DeviceRouteSchema>>;

/** An IP address that belongs to the device: ipAddressTable (RFC 4293), or ipAddrTable of devices that have no other. */
export const DeviceAddressSchema = Type.Object({
  address: Address,
  prefixLength: Nullable(Type.Integer({ minimum: 0, maximum: 128 })),
  port: Nullable(DevicePortName),
});

/** Whose Ethernet address it knows: ipNetToPhysicalTable (RFC 4293), or ipNetToMediaTable. */
export const DeviceArpSchema = Type.Object({ address: Address, mac: Mac, port: Nullable(DevicePortName) });

/** The parts of a reading that may be null, as `unread` names them. */
export const DEVICE_PARTS = [
  "system",
  "ports",
  "neighbours",
  "forwarding",
  "vlans",
  "groups",
  "routerPorts",
  "queriers",
  "memberships",
  "routes",
  "addresses",
  "arp",
] as const;
export type DevicePart = (typeof DEVICE_PARTS)[number];

const table = <T extends Type.TSchema>(row: T, most: number) => Nullable(Type.Array(row, { maxItems: most }));

/**
 * What one device said of itself in one reading: pure data, which a plan may be drawn from and which findings use as evidence.
 * Null is unknown, and `unread` says why; an empty list is the device's own word that there is none.
 */
export const DeviceReadingSchema = Type.Object({
  formatVersion: Type.Literal(1),
  /** Its name in the site plan, or the one that the operator gave it. */
  node: words(80, 1),
  /** When the reading began: ISO 8601, UTC, by the controller's clock. */
  readAt: words(40, 1),
  /** How long it took, ms: what it says is of some instant within this time. */
  tookMs: Type.Number({ minimum: 0, maximum: 1e9 }),
  /** `pasted`: an operator typed it in; only its `groups` are known then. */
  by: Type.Union([Type.Literal("snmp-v3"), Type.Literal("snmp-v2c"), Type.Literal("pasted")]),
  /** Where it was asked; null where it was pasted. */
  address: Nullable(Address),
  /** sysName and sysDescr (RFC 3418). */
  systemName: Nullable(words(255)),
  systemDescription: Nullable(words(255)),
  /** sysUpTime, ms: smaller than in an earlier reading, and the counters began again in between. */
  upMs: Nullable(Type.Number({ minimum: 0, maximum: 1e12 })),
  /** What it announces of itself, from lldpLocChassisId, or dot1dBaseBridgeAddress without it. */
  chassis: Nullable(words(255)),
  ports: table(DevicePortSchema, MOST_DEVICE_PORTS),
  neighbours: table(DeviceNeighbourSchema, MOST_DEVICE_NEIGHBOURS),
  forwarding: table(DeviceForwardingSchema, MOST_DEVICE_ADDRESSES),
  vlans: table(DeviceVlanSchema, MOST_DEVICE_VLANS),
  groups: table(DeviceGroupSchema, MOST_DEVICE_GROUPS),
  routerPorts: table(DeviceRouterPortsSchema, MOST_DEVICE_VLANS),
  queriers: table(DeviceQuerierSchema, MOST_DEVICE_VLANS),
  memberships: table(DeviceMembershipSchema, MOST_DEVICE_GROUPS),
  routes: table(DeviceRouteSchema, MOST_DEVICE_GROUPS),
  addresses: table(DeviceAddressSchema, MOST_DEVICE_ADDRESSES),
  arp: table(DeviceArpSchema, MOST_DEVICE_ADDRESSES),
  /** One entry for each part that is null, or that was cut: then `isCut`, and what is missing in it proves nothing. */
  unread: Type.Array(
    Type.Object({
      part: Type.Enum([...DEVICE_PARTS]),
      isCut: Type.Boolean(),
      /** A sentence for people. */
      why: words(400),
    }),
    { maxItems: 64 },
  ),
});
export type DeviceReading = DeepReadonly<Static<typeof DeviceReadingSchema>>;
