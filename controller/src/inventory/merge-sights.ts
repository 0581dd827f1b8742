import { KNOWN_USES_SOURCE, knownUseOf } from "@dyetrace/site";
import { formatDurationNs, formatIpAddress, groupMac, groupScope, parseIpAddress } from "@dyetrace/wire";
import type { Inventory, InventoryGroup } from "@dyetrace/wire/inventory/inventory-schema";
import type { SightAsk, SightFlow } from "@dyetrace/wire/inventory/sight-schema";
import type { AgentLook, SeenFlow } from "./agent-look.ts";
import { suggestFreeGroups } from "./free-groups.ts";
import { remarksOn } from "./group-remarks.ts";
import { HostsOfSight } from "./hosts-of-sight.ts";
import { mergeSenders } from "./merge-senders.ts";
import { sayWhatIsLeftOut } from "./say-left-out.ts";

export interface LookFacts {
  readonly id: string;
  readonly takenAt: string;
  readonly forMs: number;
  readonly looks: readonly AgentLook[];
  /** Who was not asked and why, in sentences. */
  readonly notAsked?: readonly string[];
}

/** Everything that the agents saw of one group. */
interface GroupSight {
  readonly flows: SeenFlow[];
  readonly asks: { readonly ask: SightAsk; readonly agent: string }[];
  readonly joinedAt: Set<string>;
}

/** Joins what each agent saw to one inventory of the site. Groups are ordered by address, then by port. */
export function mergeSights({ id, takenAt, forMs, looks, notAsked = [] }: LookFacts): Inventory {
  const hosts = new HostsOfSight(looks);
  const sights = sightsByGroup(looks);
  const groups = [...sights].flatMap(([group, sight]) => rowsOf(group, sight, looks, hosts)).sort(byAddress);
  const told = groups.map((row) => {
    const sharesLinkAddressWith = othersAtLinkAddress(row, groups);
    const whole = { ...row, sharesLinkAddressWith };
    return { ...whole, remarks: remarksOn(whole, flowsOf(row, sights), hosts) };
  });
  return {
    formatVersion: 1,
    id,
    takenAt,
    seenFor: formatDurationNs(forMs * 1e6),
    seenForMs: forMs,
    agents: looks.map(({ agent, sight, why }) => ({
      agent,
      lookedMs: sight === null ? null : sight.lookedNs / 1e6,
      why: sight === null ? why : null,
    })),
    groups: told,
    queriers: queriersOf(looks, hosts),
    freeGroups: looks.some(({ sight }) => sight !== null) ? suggestFreeGroups(groups.map(({ group }) => group)) : [],
    summarised: [...notAsked, ...sayWhatIsLeftOut(looks)],
    registry: KNOWN_USES_SOURCE,
  };
}

function sightsByGroup(looks: readonly AgentLook[]): Map<string, GroupSight> {
  const sights = new Map<string, GroupSight>();
  const of = (group: string): GroupSight => {
    const known = sights.get(group);
    if (known !== undefined) return known;
    const fresh: GroupSight = { flows: [], asks: [], joinedAt: new Set() };
    sights.set(group, fresh);
    return fresh;
  };
  for (const { agent, sight } of looks) {
    if (sight === null) continue;
    for (const flow of sight.flows) of(flow.group).flows.push({ agent, flow, lookedNs: sight.lookedNs });
    for (const ask of sight.asks) of(ask.group).asks.push({ ask, agent });
    for (const group of sight.joined ?? []) of(group).joinedAt.add(agent);
  }
  return sights;
}

const flowsOf = ({ group, port, protocol }: Row, sights: ReadonlyMap<string, GroupSight>): SeenFlow[] =>
  (sights.get(group)?.flows ?? []).filter(({ flow }) => flow.port === port && flow.protocol === protocol);

type Row = Omit<InventoryGroup, "remarks" | "sharesLinkAddressWith">;

/** One row for each port that somebody sends to, or one without a port where nobody was seen to. */
function rowsOf(group: string, sight: GroupSight, looks: readonly AgentLook[], hosts: HostsOfSight): Row[] {
  const address = parseIpAddress(group);
  if (address === null) return [];
  const known = knownUseOf(address);
  const kind = known?.isControl === true ? ("control" as const) : ("data" as const);
  const members = [...sight.joinedAt].sort();
  const askedBy = hosts.askers(sight.asks);
  if (sight.flows.length === 0 && members.length === 0 && askedBy.length === 0) return [];
  const common = { group, kind, members, askedBy, linkAddress: groupMac(address), use: known?.use ?? null };
  if (sight.flows.length === 0) {
    const isKnownSilent = members.some((agent) =>
      looks.some((one) => one.agent === agent && one.sight?.isWhole === true),
    );
    const senders = isKnownSilent ? [] : null;
    return [{ ...common, port: null, protocol: null, senders, format: null, seenBy: [], unaskedAt: [] }];
  }
  const places = new Map<string, SeenFlow[]>();
  for (const one of sight.flows) {
    const place = `${one.flow.protocol} ${one.flow.port}`;
    places.set(place, [...(places.get(place) ?? []), one]);
  }
  return [...places.values()].map((flows): Row => {
    const [first] = flows as [SeenFlow, ...SeenFlow[]];
    const senders = mergeSenders(flows, hosts);
    const seenBy = [...new Set(flows.map(({ agent }) => agent))].sort();
    const reached = new Set(flows.filter(({ flow }) => isReaching(flow)).map(({ agent }) => agent));
    const unaskedAt =
      kind === "control"
        ? [] // flooded to all by right (RFC 4541 section 2.1.2)
        : [...reached].filter((agent) => !sight.joinedAt.has(agent) && knowsItsMemberships(agent, looks)).sort();
    const { port, protocol } = first.flow;
    const format = senders.find((one) => one.format !== null)?.format ?? null;
    return { ...common, port, protocol, senders, format, seenBy, unaskedAt };
  });
}

/** Whether frames came to the host for itself: not what it sent, and not another VLAN's. */
const isReaching = ({ direction, vlanId }: SightFlow): boolean => direction === "in" && vlanId === null;

const knowsItsMemberships = (agent: string, looks: readonly AgentLook[]): boolean =>
  looks.some((one) => one.agent === agent && one.sight !== null && one.sight.joined !== null);

/**
 * Groups whose frames switches and network cards can't tell from this one's: RFC 1112 section 6.4, RFC 2464 section 7. Those that
 * never leave their host have no frames.
 */
const othersAtLinkAddress = (row: Row, groups: readonly Row[]): string[] =>
  isOnWire(row)
    ? [
        ...new Set(
          groups
            .filter((one) => one.linkAddress === row.linkAddress && one.group !== row.group && isOnWire(one))
            .map(({ group }) => group),
        ),
      ]
    : [];

function isOnWire({ group }: Row): boolean {
  const address = parseIpAddress(group);
  return address !== null && groupScope(address) !== "host";
}

function queriersOf(looks: readonly AgentLook[], hosts: HostsOfSight): Inventory["queriers"] {
  const found = new Map<string, Inventory["queriers"][number] & { readonly agoNs: number }>();
  for (const { agent, sight } of looks) {
    for (const { agoNs, address, hardware, protocol, version } of sight?.queriers ?? []) {
      const key = `${protocol} ${address}`;
      const known = found.get(key);
      const latest =
        known === undefined || agoNs < known.agoNs ? { address, hardware, protocol, version, agoNs } : known;
      const seenBy = [...(known?.seenBy ?? []), agent];
      found.set(key, { ...latest, agent: hosts.agentOf(address), seenBy });
    }
  }
  return [...found.values()].map(({ agoNs: _, ...querier }) => querier);
}

function byAddress(a: Row, b: Row): number {
  const order = sortKey(a.group).localeCompare(sortKey(b.group));
  return order !== 0 ? order : (a.port ?? -1) - (b.port ?? -1);
}

const sortKey = (group: string): string => {
  const address = parseIpAddress(group);
  return address === null
    ? formatIpAddress(new Uint8Array(4))
    : `${address.family}${Buffer.from(address.bytes).toString("hex")}`;
};
