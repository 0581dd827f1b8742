import type { DevicePort } from "@dyetrace/wire/devices/device-port";
import type { DeviceReading } from "@dyetrace/wire/devices/device-reading";

/** One interface in two readings of its device. */
export interface PortPair {
  readonly before: DevicePort;
  readonly after: DevicePort;
  /** True: the device started anew in between, or it is not known that it did not, so that counters began again. */
  readonly hasRestarted: boolean;
}

type CounterName = Exclude<keyof DevicePort["counters"], "multicastBits">;

/** The same interfaces of both readings: by name, for numbers may change. */
export function portPairs(before: DeviceReading, after: DeviceReading): PortPair[] {
  const tookMs = Date.parse(after.readAt) - Date.parse(before.readAt);
  // sysUpTime turns over after 497 days (RFC 3418), which would look like a restart: unknown then, and nothing wrong.
  const hasRestarted = before.upMs === null || after.upMs === null || after.upMs + 2_000 < before.upMs + tookMs;
  const old = new Map((before.ports ?? []).map((port) => [port.name, port]));
  return (after.ports ?? []).flatMap((port) => {
    const same = old.get(port.name);
    return same === undefined ? [] : [{ before: same, after: port, hasRestarted }];
  });
}

const TURN = 2 ** 32;

/** How far a counter went on; null where it is not known, or cannot be told from a new beginning. */
export function countBetween({ before, after, hasRestarted }: PortPair, name: CounterName): number | null {
  const [from, to] = [before.counters[name], after.counters[name]];
  if (from === null || to === null || hasRestarted) return null;
  if (to >= from) return to - from;
  const isShort = name.endsWith("Multicast") ? after.counters.multicastBits === 32 : from < TURN;
  return isShort && to < TURN ? to + TURN - from : null;
}
