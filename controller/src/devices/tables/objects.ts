import {
  MOST_DEVICE_ADDRESSES,
  MOST_DEVICE_GROUPS,
  MOST_DEVICE_NEIGHBOURS,
  MOST_DEVICE_PORTS,
  MOST_DEVICE_VLANS,
} from "@dyetrace/wire/devices/device-limits";
import type { DevicePart } from "@dyetrace/wire/devices/device-reading";

/** Objects of one instance, with the `.0` behind them. */
export const SCALARS = {
  sysDescr: "1.3.6.1.2.1.1.1.0", // RFC 3418
  sysUpTime: "1.3.6.1.2.1.1.3.0",
  sysName: "1.3.6.1.2.1.1.5.0",
  dot1dBaseBridgeAddress: "1.3.6.1.2.1.17.1.1.0", // RFC 4188
  lldpLocChassisIdSubtype: "1.0.8802.1.1.2.1.3.1.0", // LLDP-MIB, IEEE 802.1AB-2005
  lldpLocChassisId: "1.0.8802.1.1.2.1.3.2.0",
} as const;

/** Columns that are read side by side, so that what belongs together is of one moment. */
export interface ColumnGroup {
  readonly columns: Readonly<Record<string, string>>;
  readonly most: number;
  /** The part that it is for; without `ports` no other table can name a port. */
  readonly part: DevicePart;
}

/** IF-MIB (RFC 2863): what may change in a run. */
const COUNTERS: ColumnGroup = {
  part: "ports",
  most: MOST_DEVICE_PORTS,
  columns: {
    ifHCInMulticastPkts: "1.3.6.1.2.1.31.1.1.1.8",
    ifHCOutMulticastPkts: "1.3.6.1.2.1.31.1.1.1.12",
    ifInDiscards: "1.3.6.1.2.1.2.2.1.13",
    ifInErrors: "1.3.6.1.2.1.2.2.1.14",
    ifOutDiscards: "1.3.6.1.2.1.2.2.1.19",
    ifOutErrors: "1.3.6.1.2.1.2.2.1.20",
    ifOperStatus: "1.3.6.1.2.1.2.2.1.8",
  },
};
const NAMES: ColumnGroup = {
  part: "ports",
  most: MOST_DEVICE_PORTS,
  columns: {
    ifDescr: "1.3.6.1.2.1.2.2.1.2",
    ifName: "1.3.6.1.2.1.31.1.1.1.1",
    ifAlias: "1.3.6.1.2.1.31.1.1.1.18",
    dot1dBasePortIfIndex: "1.3.6.1.2.1.17.1.4.1.2", // RFC 4188
  },
};
const LOCAL_NAMES: ColumnGroup = {
  part: "ports",
  most: MOST_DEVICE_PORTS,
  columns: {
    lldpLocPortIdSubtype: "1.0.8802.1.1.2.1.3.7.1.2",
    lldpLocPortId: "1.0.8802.1.1.2.1.3.7.1.3",
    lldpLocPortDesc: "1.0.8802.1.1.2.1.3.7.1.4",
  },
};
const OTHER_COUNTERS: ColumnGroup = {
  part: "ports",
  most: MOST_DEVICE_PORTS,
  columns: {
    ifHCInOctets: "1.3.6.1.2.1.31.1.1.1.6",
    ifHCInUcastPkts: "1.3.6.1.2.1.31.1.1.1.7",
    ifHCInBroadcastPkts: "1.3.6.1.2.1.31.1.1.1.9",
    ifHCOutOctets: "1.3.6.1.2.1.31.1.1.1.10",
    ifHCOutUcastPkts: "1.3.6.1.2.1.31.1.1.1.11",
    ifHCOutBroadcastPkts: "1.3.6.1.2.1.31.1.1.1.13",
  },
};
/** 32 bits, of devices that have no others. */
export const SHORT_MULTICAST: ColumnGroup = {
  part: "ports",
  most: MOST_DEVICE_PORTS,
  columns: {
    ifInMulticastPkts: "1.3.6.1.2.1.31.1.1.1.2",
    ifOutMulticastPkts: "1.3.6.1.2.1.31.1.1.1.4",
  },
};
const SHORT_COUNTERS: ColumnGroup = {
  part: "ports",
  most: MOST_DEVICE_PORTS,
  columns: {
    ifInOctets: "1.3.6.1.2.1.2.2.1.10",
    ifOutOctets: "1.3.6.1.2.1.2.2.1.16",
  },
};
const PROPERTIES: ColumnGroup = {
  part: "ports",
  most: MOST_DEVICE_PORTS,
  columns: {
    ifType: "1.3.6.1.2.1.2.2.1.3",
    ifSpeed: "1.3.6.1.2.1.2.2.1.5",
    ifPhysAddress: "1.3.6.1.2.1.2.2.1.6",
    ifAdminStatus: "1.3.6.1.2.1.2.2.1.7",
    ifHighSpeed: "1.3.6.1.2.1.31.1.1.1.15",
    dot3StatsDuplexStatus: "1.3.6.1.2.1.10.7.2.1.19", // RFC 3635
    dot1dStpPortState: "1.3.6.1.2.1.17.2.15.1.3",
    dot1qPvid: "1.3.6.1.2.1.17.7.1.4.5.1.1", // RFC 4363
  },
};
const GROUPS: ColumnGroup = {
  part: "groups",
  most: MOST_DEVICE_GROUPS,
  columns: { dot1qTpGroupEgressPorts: "1.3.6.1.2.1.17.7.1.2.3.1.2" },
};
const ROUTER_PORTS: ColumnGroup = {
  part: "routerPorts",
  most: MOST_DEVICE_VLANS,
  columns: { dot1qForwardAllPorts: "1.3.6.1.2.1.17.7.1.2.4.1.1" },
};
/** MGMD-STD-MIB (RFC 5519) */
const QUERIERS: ColumnGroup = {
  part: "queriers",
  most: MOST_DEVICE_VLANS,
  columns: {
    mgmdRouterInterfaceQuerier: "1.3.6.1.2.1.185.1.2.1.3",
    mgmdRouterInterfaceQueryInterval: "1.3.6.1.2.1.185.1.2.1.4",
    mgmdRouterInterfaceVersion: "1.3.6.1.2.1.185.1.2.1.6",
  },
};
const MEMBERSHIPS: ColumnGroup = {
  part: "memberships",
  most: MOST_DEVICE_GROUPS,
  columns: { mgmdRouterCacheExpiryTime: "1.3.6.1.2.1.185.1.4.1.6" },
};
/** IPMCAST-MIB (RFC 5132) */
const ROUTES: ColumnGroup = {
  part: "routes",
  most: MOST_DEVICE_GROUPS,
  columns: {
    ipMcastRouteInIfIndex: "1.3.6.1.2.1.168.1.5.1.9",
    ipMcastRoutePkts: "1.3.6.1.2.1.168.1.5.1.19",
    ipMcastRouteNextHopState: "1.3.6.1.2.1.168.1.6.1.10",
  },
};
const NEIGHBOURS: ColumnGroup = {
  part: "neighbours",
  most: MOST_DEVICE_NEIGHBOURS,
  columns: {
    lldpRemChassisIdSubtype: "1.0.8802.1.1.2.1.4.1.1.4",
    lldpRemChassisId: "1.0.8802.1.1.2.1.4.1.1.5",
    lldpRemPortIdSubtype: "1.0.8802.1.1.2.1.4.1.1.6",
    lldpRemPortId: "1.0.8802.1.1.2.1.4.1.1.7",
    lldpRemPortDesc: "1.0.8802.1.1.2.1.4.1.1.8",
    lldpRemSysName: "1.0.8802.1.1.2.1.4.1.1.9",
    lldpRemSysDesc: "1.0.8802.1.1.2.1.4.1.1.10",
    lldpRemSysCapEnabled: "1.0.8802.1.1.2.1.4.1.1.12",
    lldpRemManAddrIfSubtype: "1.0.8802.1.1.2.1.4.2.1.3",
  },
};
const FORWARDING: ColumnGroup = {
  part: "forwarding",
  most: MOST_DEVICE_ADDRESSES,
  columns: {
    dot1qTpFdbPort: "1.3.6.1.2.1.17.7.1.2.2.1.2",
    dot1qTpFdbStatus: "1.3.6.1.2.1.17.7.1.2.2.1.3",
    dot1qVlanFdbId: "1.3.6.1.2.1.17.7.1.4.2.1.3",
  },
};
/** Of bridges without VLANs; read only where the other table is empty. */
export const PLAIN_FORWARDING: ColumnGroup = {
  part: "forwarding",
  most: MOST_DEVICE_ADDRESSES,
  columns: { dot1dTpFdbPort: "1.3.6.1.2.1.17.4.3.1.2", dot1dTpFdbStatus: "1.3.6.1.2.1.17.4.3.1.3" },
};
const VLANS: ColumnGroup = {
  part: "vlans",
  most: MOST_DEVICE_VLANS,
  columns: {
    dot1qVlanCurrentEgressPorts: "1.3.6.1.2.1.17.7.1.4.2.1.4",
    dot1qVlanCurrentUntaggedPorts: "1.3.6.1.2.1.17.7.1.4.2.1.5",
    dot1qVlanStaticName: "1.3.6.1.2.1.17.7.1.4.3.1.1",
  },
};
/** IP-MIB (RFC 4293), and the older tables of devices that have no others. */
const ADDRESSES: ColumnGroup = {
  part: "addresses",
  most: MOST_DEVICE_ADDRESSES,
  columns: {
    ipAddressIfIndex: "1.3.6.1.2.1.4.34.1.3",
    ipAddressPrefix: "1.3.6.1.2.1.4.34.1.5",
    ipAdEntIfIndex: "1.3.6.1.2.1.4.20.1.2",
    ipAdEntNetMask: "1.3.6.1.2.1.4.20.1.3",
  },
};
const ARP: ColumnGroup = {
  part: "arp",
  most: MOST_DEVICE_ADDRESSES,
  columns: {
    ipNetToPhysicalPhysAddress: "1.3.6.1.2.1.4.35.1.4",
    ipNetToMediaPhysAddress: "1.3.6.1.2.1.4.22.1.2",
  },
};

/** `all`: everything that a plan can be drawn from. `run`: what may change while a run goes on. */
export type ReadingKind = "all" | "run";

const RUN_GROUPS = [COUNTERS, NAMES, LOCAL_NAMES, GROUPS, ROUTER_PORTS, QUERIERS, MEMBERSHIPS, ROUTES] as const;

/** In the order in which they are read: the counters first, at once after the instant that the reading bears. */
export const COLUMN_GROUPS: Readonly<Record<ReadingKind, readonly ColumnGroup[]>> = {
  run: RUN_GROUPS,
  all: [...RUN_GROUPS, ...[OTHER_COUNTERS, SHORT_COUNTERS, PROPERTIES, NEIGHBOURS, FORWARDING, VLANS, ADDRESSES, ARP]],
};
