import { readFileSync } from "node:fs";
import type { HostInterval } from "@dyetrace/wire";
import { readSys } from "./interface-facts.ts";

/** Running totals of the host's own counters; a counter that this host does not show is null. */
type HostTotals = Omit<HostInterval, "wallClockSteps">;

/** Reads the counters that tell a host's own loss from the network's; differences between two looks are reported. */
export class HostCounters {
  readonly #interfaceName: string;
  readonly #interfaceIndex: number | null;
  #last: HostTotals;

  constructor(interfaceName: string, interfaceIndex: number | null) {
    this.#interfaceName = interfaceName;
    this.#interfaceIndex = interfaceIndex;
    this.#last = readTotals(interfaceName, interfaceIndex);
  }

  /** @returns what was added since the last look; a counter that went backwards (a new interface) is null */
  since(): HostTotals {
    const now = readTotals(this.#interfaceName, this.#interfaceIndex);
    const last = this.#last;
    this.#last = now;
    const names = Object.keys(now) as (keyof HostTotals)[];
    return Object.fromEntries(names.map((name) => [name, difference(now[name], last[name])])) as unknown as HostTotals;
  }
}

function difference(now: number | null, last: number | null): number | null {
  return now === null || last === null || now < last ? null : now - last;
}

function readTotals(interfaceName: string, interfaceIndex: number | null): HostTotals {
  const udp = readTable("/proc/net/snmp", "Udp:");
  const udp6 = readLines("/proc/net/snmp6");
  const device = readDevice(interfaceName);
  return {
    udpRcvbufErrors: udp.get("RcvbufErrors") ?? null,
    udpInErrors: udp.get("InErrors") ?? null,
    udp6RcvbufErrors: udp6.get("Udp6RcvbufErrors") ?? null,
    udp6InErrors: udp6.get("Udp6InErrors") ?? null,
    interfaceRxDropped: device[3] ?? null,
    interfaceRxErrors: device[2] ?? null,
    interfaceTxDropped: device[11] ?? null,
    interfaceTxErrors: device[10] ?? null,
    softnetDropped: readSoftnetDropped(),
    linkChanges: interfaceIndex === null ? null : readCount(readSys(interfaceName, interfaceIndex, "carrier_changes")),
  };
}

function readText(path: string): string | null {
  try {
    return readFileSync(path, "utf8");
  } catch {
    return null; // not Linux, or not shown to us: unknown
  }
}

const readCount = (text: string | null): number | null =>
  text !== null && /^[0-9]+$/.test(text) ? Number(text) : null;

/** The interface's line of /proc/net/dev: 8 numbers of receiving (bytes, packets, errs, drop, …), then 8 of sending. */
function readDevice(interfaceName: string): readonly number[] {
  const line = (readText("/proc/net/dev") ?? "")
    .split("\n")
    .find((text) => text.trim().startsWith(`${interfaceName}:`));
  return line === undefined
    ? []
    : line
        .slice(line.indexOf(":") + 1)
        .trim()
        .split(/\s+/)
        .map(Number);
}

/** /proc/net/snmp: a line of names and a line of values, both beginning with the protocol (proc(5)). */
function readTable(path: string, protocol: string): ReadonlyMap<string, number> {
  const [names = [], values = []] = (readText(path) ?? "")
    .split("\n")
    .filter((line) => line.startsWith(protocol))
    .map((line) => line.split(/\s+/).slice(1));
  return new Map(names.map((name, i) => [name, Number(values[i])]));
}

/** /proc/net/snmp6: one name and value on each line. */
function readLines(path: string): ReadonlyMap<string, number> {
  const pairs = (readText(path) ?? "").split("\n").map((line) => line.trim().split(/\s+/));
  return new Map(pairs.filter((pair) => pair.length === 2).map(([name = "", value]) => [name, Number(value)]));
}

/** Second column of /proc/net/softnet_stat, hexadecimal, one line per processor: dropped before any socket saw it. */
function readSoftnetDropped(): number | null {
  const text = readText("/proc/net/softnet_stat");
  if (text === null) return null;
  return text
    .trim()
    .split("\n")
    .reduce((sum, line) => sum + Number.parseInt(line.split(/\s+/)[1] ?? "0", 16), 0);
}
