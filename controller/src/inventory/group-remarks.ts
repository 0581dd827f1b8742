import { groupScope, type IpAddress, parseIpAddress } from "@dyetrace/wire";
import type { InventoryGroup, InventorySender } from "@dyetrace/wire/inventory/inventory-schema";
import { isNobodys } from "@dyetrace/wire/inventory/inventory-words";
import type { SeenFlow } from "./agent-look.ts";
import type { HostsOfSight } from "./hosts-of-sight.ts";

type Row = Omit<InventoryGroup, "remarks">;

/** What whoever plans groups or looks for a fault wants to know of one row, in sentences without full stop. */
export function remarksOn(row: Row, flows: readonly SeenFlow[], hosts: HostsOfSight): string[] {
  const group = parseIpAddress(row.group);
  if (group === null) return [];
  return [
    ...sharedLinkAddress(row, group),
    ...(row.kind === "control" ? [] : [...whoSends(row), ...whoAsks(row, group)]),
    ...(row.senders ?? []).flatMap((sender) =>
      onSender(
        sender,
        flows.filter(({ flow }) => flow.source === sender.address),
        hosts,
      ),
    ),
    ...waysOfComing(flows),
  ];
}

function sharedLinkAddress({ linkAddress, sharesLinkAddressWith }: Row, group: IpAddress): string[] {
  const [, second = 0, third = 0, fourth = 0] = group.bytes;
  const isReserved = group.family === 4 && (second & 0x7f) === 0 && third === 0 && groupScope(group) !== "link";
  const reserved = `Has the Ethernet address ${linkAddress}, which is that of 224.0.0.${fourth}: switches flood it (RFC 4541 section 2.1.2)`;
  const standard = group.family === 4 ? "RFC 1112 section 6.4" : "RFC 2464 section 7";
  const shared = `Has the Ethernet address ${linkAddress} in common with ${list(sharesLinkAddressWith)}: switches and network cards that go by it give the members of one the other as well (${standard})`;
  return [...(isReserved ? [reserved] : []), ...(sharesLinkAddressWith.length > 0 ? [shared] : [])];
}

function whoSends({ senders, members, askedBy }: Row): string[] {
  if (senders === null) {
    return [
      `Asked for by ${list(askedBy.map(({ address }) => address))}; whether anybody sends is unknown, because no agent's host is a member`,
    ];
  }
  if (senders.length === 0) return [`No source: ${list(members)} asked for it, and nothing came`];
  const isAnySource = senders.length > 1;
  return isAnySource
    ? [`${senders.length} senders on one group and port: whoever asks for any source gets all of them`]
    : [];
}

function whoAsks({ senders, members, askedBy, unaskedAt }: Row, group: IpAddress): string[] {
  const hasSender = senders !== null && senders.length > 0;
  const nobody =
    "No member is known: no agent's host is one, and nobody was heard to ask. Switches pass reports on to routers and queriers alone, so there may be members elsewhere";
  const reach = groupScope(group) === "host" ? [] : unaskedAt;
  const unasked = `Reaches ${list(reach)} without having been asked for there: it is flooded, or that port also leads to a router, a querier or another member`;
  return [
    ...(hasSender && members.length === 0 && askedBy.length === 0 ? [nobody] : []),
    ...(reach.length > 0 ? [unasked] : []),
  ];
}

function onSender(sender: InventorySender, flows: readonly SeenFlow[], hosts: HostsOfSight): string[] {
  const { address, ttl, carries } = sender;
  if (isNobodys(address)) return []; // several hosts may send from it: nothing of one is true of it
  const dscps = new Map<number, string[]>();
  for (const { agent, flow } of flows) dscps.set(flow.dscpHigh, [...(dscps.get(flow.dscpHigh) ?? []), agent]);
  const mixed = flows.find(({ flow }) => flow.dscpLow !== flow.dscpHigh);
  const where = [...dscps].map(([dscp, agents]) => `${dscp} at ${list(agents)}`);
  const onLink = flows.filter(({ agent }) => hosts.isOnLinkOf(agent, address) === true);
  const cards = new Set(onLink.map(({ flow }) => flow.hardware));
  const hasTwoCards = cards.size > 1 || onLink.some(({ flow }) => flow.otherHardwareFrames > 0);
  const group = parseIpAddress(flows[0]?.flow.group ?? "");
  const ways = flows.find(({ flow }) => flow.ttlLow !== flow.ttlHigh);
  const isRoutable = group !== null && !["host", "link"].includes(groupScope(group));
  return [
    ...(carries?.startsWith("dyetrace") === true ? [`${address} sends test packets of a dyetrace agent`] : []),
    ...(mixed !== undefined
      ? [`${address} sends with more than one DSCP: ${mixed.flow.dscpLow} to ${mixed.flow.dscpHigh}`]
      : dscps.size > 1
        ? [`DSCP of ${address} is ${where.join(" and ")}: something on the way changes it`]
        : []),
    ...(hasTwoCards
      ? [
          `${address} sends from more than one Ethernet address: two devices have that address, or a standby pair changed over`,
        ]
      : []),
    ...sayPartOfLook(address, flows),
    ...(ways === undefined
      ? []
      : [
          `${address} comes to ${ways.agent} with TTL ${ways.flow.ttlLow} to ${ways.flow.ttlHigh}: by more than one way, or from two programs`,
        ]),
    ...(ttl === 1 && isRoutable ? [`${address} sends with TTL 1: no router forwards it`] : []),
  ];
}

/** Rates are of the whole look: what sent in a part of it alone sent faster. */
function sayPartOfLook(address: string, flows: readonly SeenFlow[]): string[] {
  const fullest = flows.reduce<SeenFlow | null>(
    (most, one) => (one.flow.frames > (most?.flow.frames ?? 1) ? one : most),
    null,
  );
  if (fullest === null) return []; // one packet says nothing about when it sends
  const { flow, lookedNs } = fullest;
  const [fromNs, toNs] = [flow.firstNs, Math.min(flow.lastNs, lookedNs)];
  const spacingNs = (toNs - fromNs) / (flow.frames - 1);
  const isAllAlong = Math.max(fromNs, lookedNs - toNs) < Math.max(PAUSE_RATIO * lookedNs, 2 * spacingNs);
  const [from, to] = [fromNs, toNs].map((ns) => (ns / 1e9).toFixed(1));
  return isAllAlong
    ? []
    : [`${address} was seen from ${from} s to ${to} s of the look alone; its rate is of the whole look`];
}

/** A quarter of the look without a packet at either end is a beginning or an end (common practice, no source). */
const PAUSE_RATIO = 0.25;

function waysOfComing(flows: readonly SeenFlow[]): string[] {
  const tagged = new Map<number, Set<string>>();
  for (const { agent, flow } of flows) {
    if (flow.vlanId !== null) tagged.set(flow.vlanId, (tagged.get(flow.vlanId) ?? new Set()).add(agent));
  }
  const converted = [...new Set(flows.filter(({ flow }) => flow.asUnicastFrames > 0).map(({ agent }) => agent))];
  return [
    ...[...tagged].map(([vlan, agents]) => `Comes to ${list([...agents])} with the tag of VLAN ${vlan}`),
    ...(converted.length > 0
      ? [`Comes to ${list(converted)} in Ethernet frames to that host alone: an access point or a switch converts it`]
      : []),
  ];
}

/** `a`, `a and b`, `a, b and c`; of long lists the first eight and how many more. */
function list(names: readonly string[]): string {
  const shown = names.length > 9 ? [...names.slice(0, 8), `${names.length - 8} more`] : names;
  return shown.length < 2 ? shown.join("") : `${shown.slice(0, -1).join(", ")} and ${shown.at(-1)}`;
}
