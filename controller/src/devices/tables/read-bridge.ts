import type { DeviceForwarding, DeviceGroup, DeviceVlanMembers } from "@dyetrace/wire/devices/device-reading";
import { cellsOf, columnOf } from "./column-of.ts";
import { namesIn, type PortNames } from "./port-names.ts";
import type { Cell, RawTables } from "./raw-tables.ts";
import { countOf, IndexReader, macText, textOf } from "./values.ts";

/** Rows; `isWhole` false where one of them speaks of a port that no other table names. */
export interface Rows<Row> {
  readonly rows: readonly Row[];
  readonly isWhole: boolean;
}

/** dot1qTpGroupTable: index of VLAN and group address. */
export function readGroups(tables: RawTables, names: PortNames): Rows<DeviceGroup> {
  let isWhole = true;
  const rows = cellsOf(tables, "dot1qTpGroupEgressPorts").flatMap(({ index, value }): DeviceGroup[] => {
    const reader = new IndexReader(index);
    const vlan = vlanOf(reader.number());
    const mac = reader.octets(6);
    if (!reader.isWhole || !(value instanceof Uint8Array)) return [];
    const list = namesIn(value, names.byBridgePort);
    if (!list.isWhole) isWhole = false;
    return [{ vlan, group: macText(mac), ports: list.ports }];
  });
  return { rows, isWhole };
}

/** dot1qForwardAllTable: index of VLAN. */
export function readRouterPorts(
  tables: RawTables,
  names: PortNames,
): Rows<{ readonly vlan: number | null; readonly ports: string[] }> {
  let isWhole = true;
  const rows = cellsOf(tables, "dot1qForwardAllPorts").flatMap(({ index, value }) => {
    const vlan = vlanOf(index[0] ?? 0);
    if (index.length !== 1 || vlan === null || !(value instanceof Uint8Array)) return [];
    const list = namesIn(value, names.byBridgePort);
    if (!list.isWhole) isWhole = false;
    return [{ vlan, ports: list.ports }];
  });
  return { rows, isWhole };
}

/** dot1qVlanCurrentTable: index of a time mark and VLAN; of the rows of one VLAN the latest counts. */
export function readVlans(tables: RawTables, names: PortNames): Rows<DeviceVlanMembers> {
  let isWhole = true;
  const staticNames = columnOf(tables, "dot1qVlanStaticName");
  const untagged = columnOf(tables, "dot1qVlanCurrentUntaggedPorts");
  const byVlan = new Map<number, DeviceVlanMembers>();
  const portsOf = (value: Cell["value"] | undefined): string[] | null => {
    if (!(value instanceof Uint8Array)) return null;
    const list = namesIn(value, names.byBridgePort);
    if (!list.isWhole) isWhole = false;
    return list.ports;
  };
  for (const { index, value } of cellsOf(tables, "dot1qVlanCurrentEgressPorts")) {
    const vlan = vlanOf(index[1] ?? 0);
    const ports = portsOf(value);
    if (index.length !== 2 || vlan === null || ports === null) continue;
    byVlan.set(vlan, {
      vlan,
      name: textOf(staticNames.get(`${vlan}`)),
      ports,
      untagged: portsOf(untagged.get(index.join("."))),
    });
  }
  return { rows: [...byVlan.values()], isWhole };
}

const STATUS = { 3: "learned", 4: "self", 5: "managed" } as const;

/** dot1qTpFdbTable: index of a forwarding database and address; dot1dTpFdbTable where it is empty: index of address. */
export function readForwarding(tables: RawTables, names: PortNames): Rows<DeviceForwarding> {
  const vlans = vlansOfDatabases(tables);
  const tagged = rowsOf(tables, "dot1qTpFdb", names, (reader) => {
    const database = reader.number();
    const vlan = vlans.size === 0 ? vlanOf(database) : (vlans.get(database) ?? null);
    return { vlan, mac: reader.octets(6) };
  });
  if (tagged.length > 0) return { rows: tagged, isWhole: true };
  const plain = rowsOf(tables, "dot1dTpFdb", names, (reader) => ({ vlan: null, mac: reader.octets(6) }));
  return { rows: plain, isWhole: true };
}

function rowsOf(
  tables: RawTables,
  table: string,
  names: PortNames,
  place: (reader: IndexReader) => { readonly vlan: number | null; readonly mac: readonly number[] },
): DeviceForwarding[] {
  const states = columnOf(tables, `${table}Status`);
  return cellsOf(tables, `${table}Port`).flatMap(({ index, value }): DeviceForwarding[] => {
    const reader = new IndexReader(index);
    const { vlan, mac } = place(reader);
    const number = countOf(value, 65_535);
    if (!reader.isWhole || number === null) return [];
    const status = STATUS[countOf(states.get(index.join("."))) as keyof typeof STATUS] ?? "other";
    // 0: the address was heard of, but not on which port.
    return [{ vlan, mac: macText(mac), port: names.byBridgePort.get(number) ?? null, status }];
  });
}

/** dot1qVlanFdbId: which VLAN uses which database; one that several use says nothing of the VLAN. */
function vlansOfDatabases(tables: RawTables): Map<number, number | null> {
  const vlans = new Map<number, number | null>();
  for (const { index, value } of cellsOf(tables, "dot1qVlanFdbId")) {
    const vlan = vlanOf(index[1] ?? 0);
    const database = countOf(value);
    if (vlan === null || database === null) continue;
    const known = vlans.get(database);
    vlans.set(database, known === undefined || known === vlan ? vlan : null);
  }
  return vlans;
}

const vlanOf = (number: number): number | null => (number >= 1 && number <= 4094 ? number : null);
