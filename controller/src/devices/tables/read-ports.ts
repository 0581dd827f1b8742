import type { DeviceCounters, DevicePort } from "@dyetrace/wire/devices/device-port";
import { cellsOf, columnOf } from "./column-of.ts";
import type { PortNames } from "./port-names.ts";
import type { RawTables } from "./raw-tables.ts";
import { count64Of, countOf, macOf, textOf } from "./values.ts";

const STATES = ["disabled", "blocking", "listening", "learning", "forwarding", "broken"] as const;

/** IF-MIB, with what other tables say of the same ports. */
export function readPorts(tables: RawTables, names: PortNames): DevicePort[] {
  const at = (column: string): ReadonlyMap<string, Parameters<typeof countOf>[0]> => columnOf(tables, column);
  const [types, speeds, highSpeeds, macs] = [at("ifType"), at("ifSpeed"), at("ifHighSpeed"), at("ifPhysAddress")];
  const [aliases, up, enabled] = [at("ifAlias"), at("ifOperStatus"), at("ifAdminStatus")];
  const [duplex, stp, pvid] = [at("dot3StatsDuplexStatus"), at("dot1dStpPortState"), at("dot1qPvid")];
  const counters = countersBy(tables);
  const times = timesOf(tables);
  return [...names.byIndex].map(([index, name]) => {
    const number = names.bridgePorts.get(index) ?? null;
    return {
      name,
      index,
      number,
      announcedAs: names.announced.get(name) ?? null,
      alias: textOf(aliases.get(`${index}`)),
      mac: macOf(macs.get(`${index}`)),
      type: countOf(types.get(`${index}`), 0x7fff_ffff),
      speedBps: speedOf(speeds.get(`${index}`), highSpeeds.get(`${index}`)),
      up: yesNo(up.get(`${index}`)),
      enabled: yesNo(enabled.get(`${index}`)),
      duplex: duplexOf(duplex.get(`${index}`)),
      spanningTree: number === null ? null : (STATES[(countOf(stp.get(`${number}`)) ?? 0) - 1] ?? null),
      untaggedVlan: number === null ? null : vlanOrNull(pvid.get(`${number}`)),
      counters: counters(`${index}`),
      countersFromMs: times.get(index)?.fromMs ?? 0,
      countersToMs: times.get(index)?.toMs ?? 0,
    };
  });
}

type Raw = Parameters<typeof countOf>[0];

/** 1 is up, 2 is down; testing, dormant and the others are neither. */
const yesNo = (value: Raw): boolean | null => (value === 1 ? true : value === 2 ? false : null);
const duplexOf = (value: Raw): "half" | "full" | null => (value === 2 ? "half" : value === 3 ? "full" : null);

function vlanOrNull(value: Raw): number | null {
  const vlan = countOf(value, 4094);
  return vlan === 0 ? null : vlan;
}

/** ifHighSpeed counts in 10^6 bits/s; ifSpeed stands at 2^32 - 1 where it can't count so far. */
function speedOf(speed: Raw, high: Raw): number | null {
  const [bps, mbps] = [countOf(speed, 0xffff_ffff) ?? 0, countOf(high, 0xffff_ffff) ?? 0];
  if (bps > 0 && bps < 0xffff_ffff && (mbps === 0 || Math.abs(bps - mbps * 1e6) < 1e6)) return bps;
  return mbps === 0 ? null : mbps * 1e6;
}

function countersBy(tables: RawTables): (index: string) => DeviceCounters {
  const long = (column: string): ((index: string) => number | null) => {
    const values = columnOf(tables, column);
    return (index) => count64Of(values.get(index));
  };
  const short = (column: string): ((index: string) => number | null) => {
    const values = columnOf(tables, column);
    return (index) => countOf(values.get(index), 0xffff_ffff);
  };
  const columns = {
    inOctets: [long("ifHCInOctets"), short("ifInOctets")],
    outOctets: [long("ifHCOutOctets"), short("ifOutOctets")],
    inUnicast: [long("ifHCInUcastPkts")],
    outUnicast: [long("ifHCOutUcastPkts")],
    inMulticast: [long("ifHCInMulticastPkts"), short("ifInMulticastPkts")],
    outMulticast: [long("ifHCOutMulticastPkts"), short("ifOutMulticastPkts")],
    inBroadcast: [long("ifHCInBroadcastPkts")],
    outBroadcast: [long("ifHCOutBroadcastPkts")],
    inErrors: [short("ifInErrors")],
    outErrors: [short("ifOutErrors")],
    inDiscards: [short("ifInDiscards")],
    outDiscards: [short("ifOutDiscards")],
  };
  const isLong = [long("ifHCInMulticastPkts"), long("ifHCOutMulticastPkts")];
  return (index) => {
    const first = (reads: readonly ((index: string) => number | null)[]): number | null =>
      reads.reduce<number | null>((found, read) => found ?? read(index), null);
    const counts = Object.fromEntries(Object.entries(columns).map(([name, reads]) => [name, first(reads)])) as Omit<
      DeviceCounters,
      "multicastBits"
    >;
    const isAny = counts.inMulticast !== null || counts.outMulticast !== null;
    const bits = !isAny ? null : isLong.some((read) => read(index) !== null) ? 64 : 32;
    return { ...counts, multicastBits: bits };
  };
}

function timesOf(tables: RawTables): Map<number, { readonly fromMs: number; readonly toMs: number }> {
  const times = new Map<number, { fromMs: number; toMs: number }>();
  for (const column of ["ifHCInMulticastPkts", "ifHCOutMulticastPkts", "ifInMulticastPkts", "ifOutMulticastPkts"]) {
    for (const { index, fromMs, toMs } of cellsOf(tables, column)) {
      const [number = 0] = index;
      const before = times.get(number) ?? { fromMs, toMs };
      times.set(number, { fromMs: Math.min(before.fromMs, fromMs), toMs: Math.max(before.toMs, toMs) });
    }
  }
  return times;
}
