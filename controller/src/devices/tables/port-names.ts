import { cellsOf, columnOf } from "./column-of.ts";
import type { RawTables } from "./raw-tables.ts";
import { countOf, textOf } from "./values.ts";

/** How the device's tables name its ports: by ifIndex, by the number of a bridge's port, or by that of LLDP. */
export interface PortNames {
  readonly byIndex: ReadonlyMap<number, string>;
  readonly byBridgePort: ReadonlyMap<number, string>;
  readonly byLldpPort: ReadonlyMap<number, string>;
  /** Number of the bridge's port, by ifIndex. */
  readonly bridgePorts: ReadonlyMap<number, number>;
  /** What LLDP announces as the port's name, by our name of it. */
  readonly announced: ReadonlyMap<string, string>;
}

const MOST_INDEX = 0x7fff_ffff;

export function portNamesOf(tables: RawTables): PortNames {
  const byIndex = namesByIndex(tables);
  const bridgePorts = new Map<number, number>();
  const byBridgePort = new Map<number, string>();
  for (const { index, value } of cellsOf(tables, "dot1dBasePortIfIndex")) {
    const [number] = index;
    const ifIndex = countOf(value, MOST_INDEX);
    const name = ifIndex === null ? undefined : byIndex.get(ifIndex);
    if (number === undefined || index.length !== 1 || number < 1 || number > 65_535) continue;
    if (ifIndex === null || name === undefined) continue;
    byBridgePort.set(number, name);
    bridgePorts.set(ifIndex, number);
  }
  return { byIndex, byBridgePort, bridgePorts, ...lldpNames(tables, byIndex, byBridgePort) };
}

/** ifName, or ifDescr where it has none; where two interfaces have the same, with the number behind it. */
function namesByIndex(tables: RawTables): Map<number, string> {
  const [names, descriptions] = [columnOf(tables, "ifName"), columnOf(tables, "ifDescr")];
  const byIndex = new Map<number, string>();
  const indexes = new Set<number>();
  for (const column of ["ifName", "ifDescr", "ifOperStatus"]) {
    for (const { index } of cellsOf(tables, column)) {
      const [number] = index;
      if (index.length === 1 && number !== undefined && number >= 1 && number <= MOST_INDEX) indexes.add(number);
    }
  }
  const seen = new Map<string, number>();
  const plain = [...indexes].map((index) => {
    const name = textOf(names.get(`${index}`)) ?? textOf(descriptions.get(`${index}`)) ?? `interface ${index}`;
    seen.set(name, (seen.get(name) ?? 0) + 1);
    return { index, name };
  });
  for (const { index, name } of plain) {
    byIndex.set(index, (seen.get(name) ?? 0) > 1 ? `${name.slice(0, 230)} (${index})` : name);
  }
  return byIndex;
}

/**
 * LldpPortNumber has no agreed relation to ifIndex (IEEE 802.1AB-2005, annex G), so the port is known by what it announces, or its
 * description, which are the interface's name on most devices; by its number only where that can mean one interface alone.
 */
function lldpNames(
  tables: RawTables,
  byIndex: ReadonlyMap<number, string>,
  byBridgePort: ReadonlyMap<number, string>,
): Pick<PortNames, "byLldpPort" | "announced"> {
  const known = new Set(byIndex.values());
  const descriptions = columnOf(tables, "ifDescr");
  const byDescription = new Map<string, string | null>();
  for (const [index, value] of descriptions) {
    const text = textOf(value);
    const name = byIndex.get(Number(index));
    if (text !== null && name !== undefined) byDescription.set(text, byDescription.has(text) ? null : name);
  }
  const [ids, portDescriptions] = [columnOf(tables, "lldpLocPortId"), columnOf(tables, "lldpLocPortDesc")];
  const byLldpPort = new Map<number, string>();
  const announced = new Map<string, string>();
  const numbers = new Set([...ids.keys(), ...portDescriptions.keys()].map(Number).filter(Number.isInteger));
  for (const cell of cellsOf(tables, "lldpRemChassisId")) {
    const number = cell.index[1];
    if (number !== undefined) numbers.add(number);
  }
  for (const number of numbers) {
    const id = textOf(ids.get(`${number}`));
    const words = [id, textOf(portDescriptions.get(`${number}`))].filter((word) => word !== null);
    const name =
      words.find((word) => known.has(word)) ??
      words.map((word) => byDescription.get(word) ?? null).find((one) => one !== null) ??
      oneOf(byIndex.get(number), byBridgePort.get(number));
    if (name === null) continue;
    byLldpPort.set(number, name);
    if (id !== null) announced.set(name, id);
  }
  return { byLldpPort, announced };
}

function oneOf(byIndex: string | undefined, byBridgePort: string | undefined): string | null {
  if (byIndex !== undefined && byBridgePort !== undefined && byIndex !== byBridgePort) return null;
  return byIndex ?? byBridgePort ?? null;
}

/**
 * PortList of RFC 4363: the highest bit of the first octet is port 1.
 * @returns names; `isWhole` false where a bit stands for a port that has none
 */
export function namesIn(list: Uint8Array, byBridgePort: ReadonlyMap<number, string>): PortList {
  const ports: string[] = [];
  let isWhole = true;
  for (const [at, octet] of list.entries()) {
    for (let bit = 0; bit < 8; bit++) {
      if ((octet & (0x80 >> bit)) === 0) continue;
      const name = byBridgePort.get(8 * at + bit + 1);
      if (name === undefined) isWhole = false;
      else ports.push(name);
    }
  }
  return { ports, isWhole };
}

export interface PortList {
  readonly ports: string[];
  readonly isWhole: boolean;
}
