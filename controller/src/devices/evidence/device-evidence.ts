import type { DeviceObservation, PortCount, PortObservation, TableObservation } from "@dyetrace/locate";
import type { SiteGraph } from "@dyetrace/site";
import type { DevicePort } from "@dyetrace/wire/devices/device-port";
import type { DeviceReading } from "@dyetrace/wire/devices/device-reading";
import { isAboutGroup } from "@dyetrace/wire/devices/is-about-group";
import type { ReportDevice } from "@dyetrace/wire/report/report-device-schema";
import { countBetween, type PortPair, portPairs } from "./count-between.ts";
import { type PlanPort, planPortOf } from "./plan-port.ts";

/** All readings of one device for a run, in order of time: two before it, those during it, and one after it. */
export interface DeviceReadings {
  readonly node: string;
  readonly readings: readonly DeviceReading[];
}

/** What devices say of a run, for whoever reasons and for whoever reads. Pure. */
export interface DeviceEvidence {
  readonly observations: readonly DeviceObservation[];
  readonly devices: readonly ReportDevice[];
}

export interface RunTimes {
  /** Of the controller's wall clock, by which readings are dated as well. */
  readonly startMs: number;
  readonly endMs: number;
  readonly groups: readonly string[];
  /** Where packets were sent in a part of that time alone: counters are read as near to it as may be. */
  readonly sending?: { readonly fromMs: number; readonly toMs: number };
}

export function deviceEvidence(all: readonly DeviceReadings[], graph: SiteGraph, times: RunTimes): DeviceEvidence {
  return {
    observations: all.map((one) => observe(one, graph, times)),
    devices: all.map((one) => reportOf(one, graph, times)),
  };
}

/** The last two before the start, and the first after the end; null where one of them is missing. */
function around({ readings }: DeviceReadings, { startMs, endMs, sending }: RunTimes): Around {
  const counted = readings.filter(({ ports }) => ports !== null);
  const before = counted.filter((one) => endOf(one) <= (sending?.fromMs ?? startMs));
  return {
    quiet: before.at(-2) ?? null,
    before: before.at(-1) ?? null,
    after: counted.find((one) => Date.parse(one.readAt) >= (sending?.toMs ?? endMs)) ?? null,
  };
}

interface Around {
  readonly quiet: DeviceReading | null;
  readonly before: DeviceReading | null;
  readonly after: DeviceReading | null;
}

const endOf = ({ readAt, tookMs }: DeviceReading): number => Date.parse(readAt) + tookMs;
const plannedPorts = (graph: SiteGraph, node: string): string[] =>
  (graph.outgoing.get(node) ?? []).map(({ from }) => from.port);

function observe(one: DeviceReadings, graph: SiteGraph, times: RunTimes): DeviceObservation {
  const planned = plannedPorts(graph, one.node);
  const { quiet, before, after } = around(one, times);
  const quietBy = new Map(
    quiet === null || before === null ? [] : portPairs(quiet, before).map((pair) => [pair.after.name, pair]),
  );
  const ports =
    before === null || after === null
      ? []
      : portPairs(before, after).flatMap((pair): PortObservation[] => {
          const place = planPortOf(planned, pair.after);
          if (place === null) return [];
          const count = (name: "inMulticast" | "outMulticast"): PortCount | null =>
            countOf(pair, quietBy.get(pair.after.name) ?? null, name, { before, after, quiet }, times);
          return [{ ...place, in: count("inMulticast"), out: count("outMulticast") }];
        });
  return { node: one.node, ports: unlikePorts(ports), tables: tablesOf(one, planned, times) };
}

/** Where two interfaces claim to be the same place, neither is believed. */
function unlikePorts(ports: readonly PortObservation[]): PortObservation[] {
  const key = ({ port, vlan }: PlanPort): string => `${port} ${vlan}`;
  const seen = new Map<string, number>();
  for (const port of ports) seen.set(key(port), (seen.get(key(port)) ?? 0) + 1);
  return ports.filter((port) => seen.get(key(port)) === 1);
}

function countOf(
  pair: PortPair,
  quiet: PortPair | null,
  name: "inMulticast" | "outMulticast",
  readings: { readonly quiet: DeviceReading | null; readonly before: DeviceReading; readonly after: DeviceReading },
  { startMs }: RunTimes,
): PortCount | null {
  const frames = countBetween(pair, name);
  if (frames === null) return null;
  const from = instantOf(readings.before, pair.before);
  const to = instantOf(readings.after, pair.after);
  const quietFrames = quiet === null ? null : countBetween(quiet, name);
  const quietS =
    quiet === null || readings.quiet === null
      ? 0
      : (instantOf(readings.before, quiet.after).atMs - instantOf(readings.quiet, quiet.before).atMs) / 1000;
  return {
    frames,
    quietPerS: quietFrames === null || quietS <= 0 ? null : quietFrames / quietS,
    quietS: Math.max(0, quietS),
    fromMs: from.atMs - startMs,
    toMs: to.atMs - startMs,
    skewMs: from.offMs + to.offMs,
    // A port that has counted nothing since the device began may not count this way at all.
    hasEverCounted: (pair.after.counters[name] ?? 0) > 0,
  };
}

/** A counter was read at some instant between its question and its answer. */
function instantOf(
  { readAt }: DeviceReading,
  { countersFromMs, countersToMs }: DevicePort,
): {
  readonly atMs: number;
  readonly offMs: number;
} {
  const halfMs = (countersToMs - countersFromMs) / 2;
  return { atMs: Date.parse(readAt) + countersFromMs + halfMs, offMs: halfMs };
}

/** Of the run's groups alone, with the ports' names of the plan. */
function tablesOf({ readings }: DeviceReadings, planned: readonly string[], times: RunTimes): TableObservation[] {
  return readings.flatMap(({ readAt, tookMs, groups, routerPorts, ports, by, unread }): TableObservation[] => {
    if (groups === null) return [];
    const named = portNames(planned, ports);
    const isKnown = (names: readonly string[]): boolean => names.every((name) => named(name) !== null);
    const rows = groups.filter(({ group }) => isOfRun(group, times.groups));
    const placed = (names: readonly string[]): string[] => names.flatMap((name) => named(name)?.port ?? []);
    return [
      {
        atMs: Date.parse(readAt) + tookMs / 2 - times.startMs,
        groups: rows.map(({ vlan, group, ports: names }) => ({ vlan, group, ports: placed(names) })),
        allGroupPorts: routerPorts?.map((row) => ({ vlan: row.vlan, ports: placed(row.ports) })) ?? null,
        // What a person has typed may be a part of it.
        isWhole:
          by !== "pasted" && !unread.some(({ part }) => part === "groups") && rows.every((row) => isKnown(row.ports)),
      },
    ];
  });
}

/** Ports of a pasted table are named as the plan has them, or as the device does. */
function portNames(planned: readonly string[], ports: DeviceReading["ports"]): (name: string) => PlanPort | null {
  const byName = new Map((ports ?? []).map((port) => [port.name, planPortOf(planned, port)]));
  return (name) => byName.get(name) ?? planPortOf(planned, { name, announcedAs: null, alias: null, number: null });
}

const isOfRun = (row: string, groups: readonly string[]): boolean => groups.some((group) => isAboutGroup(row, group));

function reportOf(one: DeviceReadings, graph: SiteGraph, times: RunTimes): ReportDevice {
  const planned = plannedPorts(graph, one.node);
  const { before, after } = around(one, times);
  const good = one.readings.filter(({ ports, groups }) => ports !== null || groups !== null);
  const last = good.at(-1) ?? null;
  const pairs = new Map(
    before === null || after === null ? [] : portPairs(before, after).map((pair) => [pair.after.name, pair]),
  );
  const latest = one.readings.findLast(({ ports }) => ports !== null)?.ports ?? [];
  return {
    node: one.node,
    readAt: good.map(({ readAt }) => readAt),
    ports: latest.map((port) => {
      const pair = pairs.get(port.name);
      const between = (name: Parameters<typeof countBetween>[1]): number | null =>
        pair === undefined ? null : countBetween(pair, name);
      return {
        port: reportName(planned, port),
        inMulticast: between("inMulticast"),
        outMulticast: between("outMulticast"),
        inErrors: between("inErrors"),
        outDiscards: between("outDiscards"),
        up: port.up,
      };
    }),
    groups: groupsOf(one, planned, times),
    querier: last?.queriers?.find(({ address }) => address !== null)?.address ?? null,
    unread: [
      ...new Set((last ?? one.readings.at(-1))?.unread.flatMap(({ part, why }) => (OF_RUN.has(part) ? why : []))),
    ],
  };
}

/** What a reading of a run asks for; the rest is missing on purpose. */
const OF_RUN: ReadonlySet<string> = new Set(["ports", "groups", "queriers"]);

function reportName(planned: readonly string[], port: DevicePort): string {
  const place = planPortOf(planned, port);
  if (place === null) return port.name;
  return place.vlan === null ? place.port : `${place.port} vlan ${place.vlan}`;
}

/** Every port that was listed in any reading from the start on. */
function groupsOf({ readings }: DeviceReadings, planned: readonly string[], times: RunTimes): ReportDevice["groups"] {
  const during = readings.filter((one) => one.groups !== null && endOf(one) >= times.startMs);
  if (during.length === 0) return null;
  const rows = new Map<string, { readonly vlan: number | null; readonly group: string; readonly ports: Set<string> }>();
  for (const { groups, ports } of during) {
    const named = portNames(planned, ports);
    for (const { vlan, group, ports: names } of groups ?? []) {
      if (!isOfRun(group, times.groups)) continue;
      const own = times.groups.find((one) => isAboutGroup(group, one)) ?? group;
      const row = rows.get(`${vlan} ${own}`) ?? { vlan, group: own, ports: new Set<string>() };
      for (const name of names) row.ports.add(named(name)?.port ?? name);
      rows.set(`${vlan} ${own}`, row);
    }
  }
  return [...rows.values()].map(({ vlan, group, ports }) => ({ vlan, group, ports: [...ports] }));
}
