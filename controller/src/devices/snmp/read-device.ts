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
    await readScalars(session, scalars);
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

/** All at once; one by one where that is refused, since one object that fails takes the others with it (RFC 3416, section 4.2.1). */
async function readScalars(session: DeviceSession, into: Map<string, RawValue>): Promise<void> {
  const names = Object.keys(SCALARS) as (keyof typeof SCALARS)[];
  const ask = async (asked: readonly (keyof typeof SCALARS)[]): Promise<void> => {
    for (const [index, varbind] of (await session.get(asked.map((name) => SCALARS[name]))).entries()) {
      const value = snmp.isVarbindError(varbind) ? null : rawValue(varbind);
      const name = asked[index];
      if (name !== undefined && value !== null) into.set(name, value);
    }
  };
  const unlessRefused = async (asked: readonly (keyof typeof SCALARS)[]): Promise<DeviceTrouble | null> => {
    try {
      await ask(asked);
      return null;
    } catch (error) {
      if (!(error instanceof DeviceTrouble) || error.isFinal) throw error;
      return error;
    }
  };
  if ((await unlessRefused(names)) === null) return;
  const troubles: DeviceTrouble[] = [];
  for (const name of names) {
    const trouble = await unlessRefused([name]);
    if (trouble !== null) troubles.push(trouble);
  }
  if (troubles.length === names.length && troubles[0] !== undefined) throw troubles[0];
}
