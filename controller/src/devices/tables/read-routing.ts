import type { DeviceQuerier, DeviceRoute } from "@dyetrace/wire/devices/device-reading";
import { cellsOf, columnOf } from "./column-of.ts";
import type { PortNames } from "./port-names.ts";
import type { RawTables } from "./raw-tables.ts";
import { addressOf, count64Of, countOf, IndexReader, macOf } from "./values.ts";

const IPV6 = 2;

/** mgmdRouterInterfaceTable: index of ifIndex and address type. */
export function readQueriers(tables: RawTables, { byIndex }: PortNames): DeviceQuerier[] {
  const versions = columnOf(tables, "mgmdRouterInterfaceVersion");
  const intervals = columnOf(tables, "mgmdRouterInterfaceQueryInterval");
  return cellsOf(tables, "mgmdRouterInterfaceQuerier").flatMap(({ index, value }): DeviceQuerier[] => {
    const [ifIndex = 0, type] = index;
    if (index.length !== 2 || (type !== 1 && type !== IPV6)) return [];
    const address = value instanceof Uint8Array ? addressOf(value) : null;
    const version = countOf(versions.get(index.join(".")));
    return [
      {
        port: byIndex.get(ifIndex) ?? null,
        protocol: type === IPV6 ? "mld" : "igmp",
        address: address === "0.0.0.0" || address === "::" ? null : address,
        version: version === 1 || version === 2 || version === 3 ? version : null,
        queryIntervalS: countOf(intervals.get(index.join(".")), 31_744),
      },
    ];
  });
}

/** mgmdRouterCacheTable: index of address type, address and ifIndex. */
export const readMemberships = (
  tables: RawTables,
  { byIndex }: PortNames,
): { readonly port: string | null; readonly group: string }[] =>
  cellsOf(tables, "mgmdRouterCacheExpiryTime").flatMap(({ index }) => {
    const reader = new IndexReader(index);
    reader.number();
    const group = addressOf(reader.counted());
    const port = byIndex.get(reader.number()) ?? null;
    return reader.isWhole && group !== null ? [{ port, group }] : [];
  });

/** ipMcastRouteTable and ipMcastRouteNextHopTable: index of group, source, and for the second the next hop. */
export function readRoutes(tables: RawTables, { byIndex }: PortNames): DeviceRoute[] {
  const packets = columnOf(tables, "ipMcastRoutePkts");
  const outs = new Map<string, string[]>();
  for (const { index, value } of cellsOf(tables, "ipMcastRouteNextHopState")) {
    const route = takeRoute(index);
    const port = route === null ? undefined : byIndex.get(route.rest[0] ?? 0);
    if (route === null || port === undefined || value !== 2) continue; // 2: forwarding
    outs.set(route.key, [...(outs.get(route.key) ?? []), port]);
  }
  return cellsOf(tables, "ipMcastRouteInIfIndex").flatMap(({ index, value }): DeviceRoute[] => {
    const route = takeRoute(index);
    if (route === null || route.rest.length > 0) return [];
    return [
      {
        group: route.group,
        source: route.source,
        from: byIndex.get(countOf(value) ?? 0) ?? null,
        to: outs.get(route.key) ?? [],
        packets: count64Of(packets.get(index.join("."))),
      },
    ];
  });
}

interface RouteIndex {
  readonly key: string;
  readonly group: string;
  readonly source: string | null;
  readonly rest: readonly number[];
}

function takeRoute(index: readonly number[]): RouteIndex | null {
  const [, groupLength = 0] = index;
  const sourceAt = 2 + groupLength + 1;
  const sourceLength = index[sourceAt + 1] ?? 0;
  const restAt = sourceAt + 2 + sourceLength + 1;
  if (restAt > index.length) return null;
  const group = addressOf(octets(index.slice(2, 2 + groupLength)));
  const source = addressOf(octets(index.slice(sourceAt + 2, sourceAt + 2 + sourceLength)));
  const isAnySource = index[restAt - 1] === 0; // prefix length of the source
  if (group === null) return null;
  const key = index.slice(0, restAt).join(".");
  return { key, group, source: isAnySource ? null : source, rest: index.slice(restAt) };
}

const octets = (arcs: readonly number[]): readonly number[] => (arcs.every((arc) => arc <= 255) ? arcs : []);

/** ipAddressTable: index of type and address; ipAddrTable where it is empty. */
export function readAddresses(
  tables: RawTables,
  { byIndex }: PortNames,
): { readonly address: string; readonly prefixLength: number | null; readonly port: string | null }[] {
  const prefixes = columnOf(tables, "ipAddressPrefix");
  const rows = cellsOf(tables, "ipAddressIfIndex").flatMap(({ index, value }) => {
    const reader = new IndexReader(index);
    reader.number();
    const address = addressOf(reader.counted());
    if (!reader.isWhole || address === null) return [];
    // A row pointer into ipAddressPrefixTable: its last arc is the length; zeroDotZero where there is none.
    const pointer = prefixes.get(index.join("."));
    const last = typeof pointer === "string" && pointer.split(".").length > 12 ? Number(pointer.split(".").at(-1)) : -1;
    const prefixLength = countOf(last, address.includes(":") ? 128 : 32);
    return [{ address, prefixLength, port: byIndex.get(countOf(value) ?? 0) ?? null }];
  });
  if (rows.length > 0) return rows;
  const masks = columnOf(tables, "ipAdEntNetMask");
  return cellsOf(tables, "ipAdEntIfIndex").flatMap(({ index, value }) => {
    const address = index.length === 4 ? addressOf(octets(index)) : null;
    if (address === null) return [];
    const prefixLength = lengthOfMask(masks.get(index.join(".")));
    return [{ address, prefixLength, port: byIndex.get(countOf(value) ?? 0) ?? null }];
  });
}

/** @param mask an address's text, as the library gives it */
function lengthOfMask(mask: unknown): number | null {
  if (typeof mask !== "string") return null;
  const bits = mask
    .split(".")
    .map((part) => Number(part).toString(2).padStart(8, "0"))
    .join("");
  return /^1*0*$/.test(bits) && bits.length === 32 ? bits.replace(/0+$/, "").length : null;
}

/** ipNetToPhysicalTable: index of ifIndex, type and address; ipNetToMediaTable where it is empty. */
export function readArp(
  tables: RawTables,
  { byIndex }: PortNames,
): { readonly address: string; readonly mac: string; readonly port: string | null }[] {
  const rows = cellsOf(tables, "ipNetToPhysicalPhysAddress").flatMap(({ index, value }) => {
    const reader = new IndexReader(index);
    const port = byIndex.get(reader.number()) ?? null;
    reader.number();
    const address = addressOf(reader.counted());
    const mac = macOf(value);
    return reader.isWhole && address !== null && mac !== null ? [{ address, mac, port }] : [];
  });
  if (rows.length > 0) return rows;
  return cellsOf(tables, "ipNetToMediaPhysAddress").flatMap(({ index, value }) => {
    const [ifIndex = 0, ...rest] = index;
    const address = rest.length === 4 ? addressOf(octets(rest)) : null;
    const mac = macOf(value);
    return address !== null && mac !== null ? [{ address, mac, port: byIndex.get(ifIndex) ?? null }] : [];
  });
}
