import { blankReading } from "@dyetrace/wire/devices/blank-reading";
import {
  MOST_DEVICE_ADDRESSES,
  MOST_DEVICE_GROUPS,
  MOST_DEVICE_NEIGHBOURS,
  MOST_DEVICE_PORTS,
  MOST_DEVICE_VLANS,
} from "@dyetrace/wire/devices/device-limits";
import { DEVICE_PARTS, type DevicePart, type DeviceReading } from "@dyetrace/wire/devices/device-reading";
import { COLUMN_GROUPS, PLAIN_FORWARDING, type ReadingKind } from "./objects.ts";
import { portNamesOf } from "./port-names.ts";
import type { RawTables } from "./raw-tables.ts";
import { readForwarding, readGroups, readRouterPorts, readVlans } from "./read-bridge.ts";
import { chassisOf, readNeighbours } from "./read-neighbours.ts";
import { readPorts } from "./read-ports.ts";
import { readAddresses, readArp, readMemberships, readQueriers, readRoutes } from "./read-routing.ts";
import { countOf, textOf } from "./values.ts";

type Head = Pick<DeviceReading, "node" | "readAt" | "by" | "address">;
type Unread = DeviceReading["unread"][number];

/** Tables that every device without such a thing leaves out, so that none of them is said to be missing. */
const IS_EMPTY_AS_GOOD: ReadonlySet<DevicePart> = new Set(["neighbours"]);

/**
 * What a device gave, as a reading. Pure, and nothing that a device can give makes it throw: what does not fit is left out.
 * A table without a row is null: a device without that table answers in the same way.
 */
export function makeReading(head: Head, kind: ReadingKind, tables: RawTables, tookMs: number): DeviceReading {
  const blank = { ...blankReading(head), tookMs: Math.round(tookMs) };
  if (tables.trouble !== null) {
    const why = sentence(`${head.node} could not be read: ${tables.trouble}`);
    return { ...blank, unread: DEVICE_PARTS.map((part) => ({ part, isCut: false, why })) };
  }
  const { scalars } = tables;
  const names = portNamesOf(tables);
  const unread: Unread[] = [];
  const asked = new Set(COLUMN_GROUPS[kind].map(({ part }) => part));
  const keep = <Row>(part: DevicePart, rows: readonly Row[], most: number, isWhole = true): readonly Row[] | null => {
    if (!asked.has(part)) {
      unread.push({ part, isCut: false, why: "It was not asked for in this reading." });
      return null;
    }
    const trouble = troubleOf(tables, kind, part);
    const isImplemented = IS_EMPTY_AS_GOOD.has(part) && scalars.has("lldpLocChassisId");
    if (rows.length === 0 && !(isImplemented && trouble === null)) {
      const why = trouble === null ? `${head.node} gives no row of ${TABLE[part]}.` : sayTrouble(head, part, trouble);
      unread.push({ part, isCut: false, why });
      return null;
    }
    if (trouble !== null || rows.length > most) {
      const reason = trouble ?? `it has more than ${most} rows`;
      unread.push({ part, isCut: true, why: sayTrouble(head, part, reason) });
    } else if (!isWhole) {
      const why = `${head.node}: ${TABLE[part]} speaks of a port that none of its other tables names.`;
      unread.push({ part, isCut: true, why });
    }
    return rows.slice(0, most);
  };
  const [groups, routerPorts, vlans] = [
    readGroups(tables, names),
    readRouterPorts(tables, names),
    readVlans(tables, names),
  ];
  const [forwarding, neighbours] = [readForwarding(tables, names), readNeighbours(tables, names)];
  return {
    ...blank,
    systemName: textOf(scalars.get("sysName")),
    systemDescription: textOf(scalars.get("sysDescr")),
    upMs: upMsOf(countOf(scalars.get("sysUpTime"), 0xffff_ffff)),
    chassis: chassisOf(tables),
    ports: keep("ports", readPorts(tables, names), MOST_DEVICE_PORTS),
    neighbours: keep("neighbours", neighbours.rows, MOST_DEVICE_NEIGHBOURS, neighbours.isWhole),
    forwarding: keep("forwarding", forwarding.rows, MOST_DEVICE_ADDRESSES, forwarding.isWhole),
    vlans: keep("vlans", vlans.rows, MOST_DEVICE_VLANS, vlans.isWhole),
    groups: keep("groups", groups.rows, MOST_DEVICE_GROUPS, groups.isWhole),
    routerPorts: keep("routerPorts", routerPorts.rows, MOST_DEVICE_VLANS, routerPorts.isWhole),
    queriers: keep("queriers", readQueriers(tables, names), MOST_DEVICE_VLANS),
    memberships: keep("memberships", readMemberships(tables, names), MOST_DEVICE_GROUPS),
    routes: keep("routes", readRoutes(tables, names), MOST_DEVICE_GROUPS),
    addresses: keep("addresses", readAddresses(tables, names), MOST_DEVICE_ADDRESSES),
    arp: keep("arp", readArp(tables, names), MOST_DEVICE_ADDRESSES),
    unread,
  };
}

/** TimeTicks are hundredths of a second. */
const upMsOf = (ticks: number | null): number | null => (ticks === null ? null : ticks * 10);

const TABLE: Readonly<Record<DevicePart, string>> = {
  system: "its description",
  ports: "its interfaces (IF-MIB)",
  neighbours: "its neighbours (LLDP-MIB)",
  forwarding: "its forwarding table (Q-BRIDGE-MIB, BRIDGE-MIB)",
  vlans: "its VLANs (Q-BRIDGE-MIB)",
  groups: "its group table (Q-BRIDGE-MIB)",
  routerPorts: "the ports to which it sends all groups (Q-BRIDGE-MIB)",
  queriers: "its queriers (MGMD-STD-MIB)",
  memberships: "its memberships (MGMD-STD-MIB)",
  routes: "its multicast routes (IPMCAST-MIB)",
  addresses: "its addresses (IP-MIB)",
  arp: "the addresses it knows (IP-MIB)",
};

const sayTrouble = ({ node }: Head, part: DevicePart, trouble: string): string =>
  sentence(`${node}: not all of ${TABLE[part]} could be read: ${trouble}`).slice(0, 400);

const sentence = (words: string): string => (words.endsWith("?") ? words : `${words}.`);

/** What kept a column of the part from being read to its end. */
function troubleOf({ columns }: RawTables, kind: ReadingKind, part: DevicePart): string | null {
  const groups = [...COLUMN_GROUPS[kind], PLAIN_FORWARDING].filter((group) => group.part === part);
  for (const name of groups.flatMap((group) => Object.keys(group.columns))) {
    const trouble = columns.get(name)?.trouble ?? null;
    if (trouble !== null) return trouble;
  }
  return null;
}
