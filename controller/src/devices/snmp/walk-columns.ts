import snmp, { type Varbind } from "net-snmp";
import { below, isAfter, type Oid, parseOid } from "../tables/oid.ts";
import type { Cell, Column, RawValue } from "../tables/raw-tables.ts";
import { type DeviceSession, DeviceTrouble } from "./device-session.ts";

/** Values in one answer: of 30 bytes or so each, so that it fits one Ethernet frame. */
const VALUES_AT_ONCE = 36;

interface Walk {
  readonly name: string;
  readonly root: Oid;
  readonly cells: Cell[];
  next: string;
  last: Oid;
  isDone: boolean;
  trouble: string | null;
}

/**
 * Reads columns of tables side by side with GetBulk (RFC 3416, section 4.2.3). Ends where each of them ends, where one does not
 * advance, at so many rows, or with the session.
 * @param columns object identifiers by name @param sinceMs of performance.now(): when the reading began
 * @param into gets each column, as far as it was read @throws {DeviceTrouble} where nothing more is to be had of the device
 */
export async function walkColumns(
  session: Pick<DeviceSession, "getBulk">,
  columns: Readonly<Record<string, string>>,
  most: number,
  sinceMs: number,
  into: Map<string, Column>,
): Promise<void> {
  const walks = Object.entries(columns).map(([name, oid]): Walk => {
    const root = parseOid(oid) ?? [];
    return { name, root, cells: [], next: oid, last: [], isDone: false, trouble: null };
  });
  for (let atOnce = VALUES_AT_ONCE; ; ) {
    const open = walks.filter(({ isDone }) => !isDone);
    if (open.length === 0) break;
    const fromMs = performance.now() - sinceMs;
    let answer: readonly (readonly Varbind[])[];
    try {
      answer = await session.getBulk(
        open.map(({ next }) => next),
        Math.max(1, Math.floor(atOnce / open.length)),
      );
    } catch (error) {
      if (!(error instanceof DeviceTrouble)) throw error;
      // Too big for it (RFC 3416, section 4.2.3), or too many at once: less, until it is one of each.
      if (!error.isFinal && atOnce > open.length) {
        atOnce = Math.floor(atOnce / 3);
        continue;
      }
      for (const walk of open) endWith(walk, error.message);
      if (!error.isFinal) break;
      keep(walks, into);
      throw error;
    }
    const times = { fromMs, toMs: performance.now() - sinceMs };
    const hasMoved = open.map((walk, index) => take(walk, answer[index] ?? [], most, times)).some(Boolean);
    if (!hasMoved) for (const walk of open) if (!walk.isDone) endWith(walk, "it answers without a value");
  }
  keep(walks, into);
}

function keep(walks: readonly Walk[], into: Map<string, Column>): void {
  for (const { name, cells, trouble } of walks) into.set(name, { cells, trouble });
}

function endWith(walk: Walk, trouble: string): void {
  walk.isDone = true;
  walk.trouble = trouble;
}

/** @returns whether it is further than before */
function take(
  walk: Walk,
  varbinds: readonly Varbind[],
  most: number,
  times: { readonly fromMs: number; readonly toMs: number },
): boolean {
  for (const varbind of varbinds) {
    const oid = parseOid(varbind.oid);
    const index = oid === null ? null : below(walk.root, oid);
    if (snmp.isVarbindError(varbind) || index === null) {
      walk.isDone = true;
      return true;
    }
    if (!isAfter(index, walk.last)) {
      endWith(walk, "it does not advance, and says the same again");
      return true;
    }
    if (walk.cells.length >= most) {
      endWith(walk, `it has more than ${most} rows`);
      return true;
    }
    const value = rawValue(varbind);
    if (value !== null) walk.cells.push({ index, value, ...times });
    walk.last = index;
    walk.next = varbind.oid;
  }
  return varbinds.length > 0;
}

export function rawValue({ value }: Varbind): RawValue | null {
  // A copy: what the library hands out is a window on the whole datagram, which would be kept with it.
  if (value instanceof Uint8Array) return Uint8Array.from(value);
  return typeof value === "number" || typeof value === "string" ? value : null;
}
