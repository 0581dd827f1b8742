import type { DeviceTarget } from "@dyetrace/wire/devices/device-access";
import type { DeviceReading } from "@dyetrace/wire/devices/device-reading";
import snmp from "net-snmp";
import { makeReading } from "../tables/make-reading.ts";
import {
  COLUMN_GROUPS,
  type ColumnGroup,
  PLAIN_FORWARDING,
  type ReadingKind,
  SCALARS,
  SHORT_MULTICAST,
} from "../tables/objects.ts";
import type { Column, RawTables, RawValue } from "../tables/raw-tables.ts";
import type { OpenSocket } from "./bounded-socket.ts";
import { DeviceSession, DeviceTrouble } from "./device-session.ts";
import type { ReadingBounds } from "./reading-bounds.ts";
import { rawValue, walkColumns } from "./walk-columns.ts";

/**
 * Reads one device, within bounds, whatever it does. What could not be read is null in the reading, with its reason: nothing
 * that a device can do makes this fail.
 * @param open as `BoundedSocket` takes it
 */
export async function readDevice(
  target: DeviceTarget,
  kind: ReadingKind,
  bounds: ReadingBounds,
  open?: OpenSocket,
): Promise<DeviceReading> {
  const head = {
    node: target.node,
    readAt: new Date().toISOString(),
    by: target.access.version === "3" ? ("snmp-v3" as const) : ("snmp-v2c" as const),
    address: target.address,
  };
  const sinceMs = performance.now();
  using session = new DeviceSession(target, bounds, open);
  const tables = await readTables(session, kind, sinceMs);
  return makeReading(head, kind, tables, performance.now() - sinceMs);
}

async function readTables(session: DeviceSession, kind: ReadingKind, sinceMs: number): Promise<RawTables> {
  const scalars = new Map<string, RawValue>();
  const columns = new Map<string, Column>();
  const walk = ({ columns: asked, most }: ColumnGroup): Promise<void> =>
    walkColumns(session, asked, most, sinceMs, columns);
  const isEmpty = (name: string): boolean => (columns.get(name)?.cells.length ?? 0) === 0;
  try {
    const names = Object.keys(SCALARS);
    for (const [index, varbind] of (await session.get(Object.values(SCALARS))).entries()) {
      const value = snmp.isVarbindError(varbind) ? null : rawValue(varbind);
      const name = names[index];
      if (name !== undefined && value !== null) scalars.set(name, value);
    }
    for (const group of COLUMN_GROUPS[kind]) {
      await walk(group);
      if ("ifHCInMulticastPkts" in group.columns && isEmpty("ifHCInMulticastPkts")) await walk(SHORT_MULTICAST);
      if (group.part === "forwarding" && isEmpty("dot1qTpFdbPort")) await walk(PLAIN_FORWARDING);
    }
  } catch (error) {
    if (!(error instanceof DeviceTrouble)) throw error;
    if (scalars.size === 0 && columns.size === 0) return { scalars, columns, trouble: error.message };
    // What came before stands; the rest was not reached.
    for (const group of COLUMN_GROUPS[kind]) {
      for (const name of Object.keys(group.columns)) {
        if (!columns.has(name)) columns.set(name, { cells: [], trouble: error.message });
      }
    }
  }
  return { scalars, columns, trouble: null };
}
