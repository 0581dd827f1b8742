import { formatCount, formatRateBps } from "@dyetrace/wire";
import type { DeviceEntry } from "@dyetrace/wire/devices/device-access";
import type { DevicePort } from "@dyetrace/wire/devices/device-port";
import type { DeviceReading } from "@dyetrace/wire/devices/device-reading";

const HOW = { "snmp-v3": "SNMPv3", "snmp-v2c": "SNMPv2c, in clear" } as const;

export function renderDevices(devices: readonly DeviceEntry[]): string {
  if (devices.length === 0) return "The controller reads no devices; `dyetrace device add` adds one.\n";
  return lines(
    devices.map(({ node, address, port, by, user, addedAt, addedBy }) => {
      const as = user === null ? "" : ` as ${user}`;
      return `${node}: ${address}, UDP port ${port}, ${HOW[by]}${as}; added ${addedAt} by ${addedBy}`;
    }),
  );
}

/** What stands in a reading, for people; `--json` has all of it. */
export function renderReading(reading: DeviceReading): string {
  const { node, address, ports, neighbours, forwarding, vlans, groups, routerPorts, queriers, unread } = reading;
  if (ports === null) return lines([...new Set(unread.map(({ why }) => why))]);
  return lines([
    `${node} at ${address}: ${reading.systemName ?? "without a name"}, ${reading.systemDescription ?? "no description"}`,
    "",
    `${ports.length} ${ports.length === 1 ? "port" : "ports"}`,
    ...ports.map((port) => `  ${sayPort(port)}`),
    ...part(neighbours, "neighbours", ({ port, systemName, chassis, portId }) => {
      return `on ${port}: ${systemName ?? chassis}, its port ${portId}`;
    }),
    ...part(vlans, "VLANs", ({ vlan, name, ports: members }) => `${vlan} ${name ?? ""} on ${members.join(", ")}`),
    ...part(groups, "groups", ({ vlan, group, ports: to }) => `${group}${inVlan(vlan)} to ${to.join(", ")}`),
    ...part(routerPorts, "VLANs with ports to which all groups go", ({ vlan, ports: to }) => {
      return `${vlan === null ? "all" : `VLAN ${vlan}`}: ${to.length === 0 ? "none" : to.join(", ")}`;
    }),
    ...part(queriers, "queriers", ({ port, address: querier, protocol, version }) => {
      return `on ${port ?? "?"}: ${querier ?? "none"}, ${protocol.toUpperCase()} version ${version ?? "unknown"}`;
    }),
    ...(forwarding === null ? [] : ["", `${forwarding.length} Ethernet addresses in its forwarding table`]),
    ...(unread.length === 0 ? [] : ["", "Not known"]),
    ...unread.map(({ why }) => `  ${why}`),
  ]);
}

const inVlan = (vlan: number | null): string => (vlan === null ? "" : ` in VLAN ${vlan}`);

function part<Row>(rows: readonly Row[] | null, what: string, sayRow: (row: Row) => string): string[] {
  const words = rows?.length === 1 ? what.replace(/^(\w+)s\b/, "$1") : what;
  return rows === null ? [] : ["", `${rows.length} ${words}`, ...rows.map((row) => `  ${sayRow(row)}`)];
}

function sayPort({ name, alias, up, enabled, speedBps, duplex, spanningTree, counters }: DevicePort): string {
  const state = enabled === false ? "switched off" : up === null ? "state unknown" : up ? "up" : "down";
  const words = [
    state,
    ...(speedBps === null ? [] : [formatRateBps(speedBps)]),
    ...(duplex === null ? [] : [`${duplex} duplex`]),
    ...(spanningTree === null || spanningTree === "forwarding" ? [] : [`spanning tree: ${spanningTree}`]),
    `multicast in ${count(counters.inMulticast)}, out ${count(counters.outMulticast)}`,
    ...(counters.inErrors === null || counters.inErrors === 0 ? [] : [`${errors(counters.inErrors)} in`]),
    ...(counters.outDiscards === null || counters.outDiscards === 0
      ? []
      : [`${count(counters.outDiscards)} dropped going out`]),
  ];
  return `${name}${alias === null ? "" : ` (${alias})`}: ${words.join(", ")}`;
}

const count = (value: number | null): string => (value === null ? "unknown" : formatCount(value));
const errors = (value: number): string => `${formatCount(value)} ${value === 1 ? "error" : "errors"}`;
const lines = (all: readonly string[]): string => `${all.join("\n")}\n`;
