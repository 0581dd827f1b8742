import { CAPABILITIES, type Capability } from "@dyetrace/wire/devices/capability";
import type { DeviceNeighbour } from "@dyetrace/wire/devices/device-reading";
import { cellsOf, columnOf } from "./column-of.ts";
import type { PortNames } from "./port-names.ts";
import type { RawTables, RawValue } from "./raw-tables.ts";
import type { Rows } from "./read-bridge.ts";
import { addressOf, countOf, IndexReader, macOf, textOf } from "./values.ts";

/** Subtypes of a chassis and of a port that are Ethernet and network addresses (IEEE 802.1AB, tables 8-2 and 8-3). */
const CHASSIS_MAC = 4;
const CHASSIS_ADDRESS = 5;
const PORT_MAC = 3;
const PORT_ADDRESS = 4;

/** lldpRemTable: index of time mark, local port and a number; lldpRemManAddrTable adds the address. */
export function readNeighbours(tables: RawTables, names: PortNames): Rows<DeviceNeighbour> {
  let isWhole = true;
  const at = (column: string): ReadonlyMap<string, RawValue> => columnOf(tables, column);
  const [chassisTypes, portTypes, portIds] = [
    at("lldpRemChassisIdSubtype"),
    at("lldpRemPortIdSubtype"),
    at("lldpRemPortId"),
  ];
  const [portDescriptions, systemNames, systemDescriptions, capabilities] = [
    at("lldpRemPortDesc"),
    at("lldpRemSysName"),
    at("lldpRemSysDesc"),
    at("lldpRemSysCapEnabled"),
  ];
  const addresses = managementAddresses(tables);
  const rows = cellsOf(tables, "lldpRemChassisId").flatMap(({ index, value }): DeviceNeighbour[] => {
    if (index.length !== 3) return [];
    const key = index.join(".");
    const port = names.byLldpPort.get(index[1] ?? 0);
    const chassis = identityOf(value, chassisTypes.get(key), CHASSIS_MAC, CHASSIS_ADDRESS);
    const portId = identityOf(portIds.get(key), portTypes.get(key), PORT_MAC, PORT_ADDRESS);
    if (port === undefined || chassis === null || portId === null) {
      isWhole = false;
      return [];
    }
    return [
      {
        port,
        chassis,
        portId,
        portDescription: textOf(portDescriptions.get(key)),
        systemName: textOf(systemNames.get(key)),
        systemDescription: textOf(systemDescriptions.get(key)),
        capabilities: capabilitiesOf(capabilities.get(key)),
        addresses: (addresses.get(key) ?? []).slice(0, 64),
      },
    ];
  });
  return { rows, isWhole };
}

/** Of the device itself. */
export function chassisOf({ scalars }: RawTables): string | null {
  const own = identityOf(
    scalars.get("lldpLocChassisId"),
    scalars.get("lldpLocChassisIdSubtype"),
    CHASSIS_MAC,
    CHASSIS_ADDRESS,
  );
  return own ?? macOf(scalars.get("dot1dBaseBridgeAddress"));
}

function identityOf(
  value: RawValue | undefined,
  subtype: RawValue | undefined,
  mac: number,
  address: number,
): string | null {
  if (!(value instanceof Uint8Array)) return null;
  if (subtype === mac) return macOf(value) ?? textOf(value);
  // The first octet says which family it is of (IANA address family numbers).
  if (subtype === address) return addressOf(value.subarray(1)) ?? textOf(value);
  return textOf(value);
}

/** BITS: the first is the highest bit of the first octet. */
function capabilitiesOf(value: RawValue | undefined): Capability[] | null {
  if (!(value instanceof Uint8Array)) return null;
  return CAPABILITIES.filter((_, bit) => ((value[bit >> 3] ?? 0) & (0x80 >> (bit & 7))) !== 0);
}

function managementAddresses(tables: RawTables): Map<string, string[]> {
  const found = new Map<string, string[]>();
  for (const { index } of cellsOf(tables, "lldpRemManAddrIfSubtype")) {
    const reader = new IndexReader(index);
    const key = [reader.number(), reader.number(), reader.number()].join(".");
    const family = countOf(reader.number());
    const address = addressOf(reader.counted());
    if (!reader.isWhole || address === null || (family !== 1 && family !== 2)) continue;
    found.set(key, [...(found.get(key) ?? []), address]);
  }
  return found;
}
