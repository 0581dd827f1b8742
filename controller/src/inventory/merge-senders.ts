import { greatestOf, leastOf } from "@dyetrace/wire";
import type { InventorySender, StreamFormat } from "@dyetrace/wire/inventory/inventory-schema";
import { isNobodys } from "@dyetrace/wire/inventory/inventory-words";
import type { PayloadLook } from "@dyetrace/wire/inventory/sight-schema";
import type { SeenFlow } from "./agent-look.ts";
import type { HostsOfSight } from "./hosts-of-sight.ts";

const FORMATS: Readonly<Record<PayloadLook, { readonly format: StreamFormat; readonly carries: string }>> = {
  rtp: { format: "rtp", carries: "RTP" },
  "rtp-with-ts": { format: "rtp", carries: "MPEG-TS in RTP" },
  ts: { format: "mpeg-ts", carries: "MPEG-TS" },
  test: { format: "any", carries: "dyetrace's own test packets" },
  other: { format: "any", carries: "neither RTP nor MPEG-TS" },
};

/** @param flows to one group and port @returns a sender for each address, or each card without one, the fastest first */
export function mergeSenders(flows: readonly SeenFlow[], hosts: HostsOfSight): InventorySender[] {
  const bySender = new Map<string, SeenFlow[]>();
  for (const one of flows) {
    const { source, hardware } = one.flow;
    const key = isNobodys(source) ? `${source} ${hardware}` : source;
    bySender.set(key, [...(bySender.get(key) ?? []), one]);
  }
  return [...bySender.values()]
    .flatMap((seen) => (seen[0] === undefined ? [] : mergeSender(seen[0].flow.source, seen, hosts)))
    .sort((a, b) => b.rateBps - a.rateBps || a.address.localeCompare(b.address));
}

function mergeSender(address: string, seen: readonly SeenFlow[], hosts: HostsOfSight): InventorySender {
  // Who got most of it says how much it is; who is nearest to it, what was sent.
  const fullest = best(seen, ({ flow, lookedNs }) => flow.frames / Math.max(1, lookedNs));
  const nearest = best(seen, ({ flow }) => flow.ttlHigh);
  const seconds = Math.max(1, fullest.lookedNs) / 1e9;
  const onLink = seen.find(({ agent, flow }) => flow.direction === "out" || hosts.isOnLinkOf(agent, address) === true);
  const look = best(seen, ({ flow }) => (flow.look === null ? -1 : flow.frames)).flow.look;
  return {
    address,
    agent: seen.find(({ flow }) => flow.direction === "out")?.agent ?? hosts.agentOf(address),
    hardware: onLink?.flow.hardware ?? null,
    rateBps: (fullest.flow.bytes * 8) / seconds,
    packetsPerSecond: fullest.flow.frames / seconds,
    leastBytes: leastOf(seen.map(({ flow }) => flow.leastBytes)),
    mostBytes: greatestOf(seen.map(({ flow }) => flow.mostBytes)),
    ttl: nearest.flow.ttlHigh,
    dscp: nearest.flow.dscpHigh,
    format: look === null ? null : FORMATS[look].format,
    carries: look === null ? null : FORMATS[look].carries,
    seenBy: [...new Set(seen.map(({ agent }) => agent))].sort(),
  };
}

/** @param seen at least one */
function best(seen: readonly SeenFlow[], score: (one: SeenFlow) => number): SeenFlow {
  const [first, ...others] = seen;
  if (first === undefined) throw new RangeError("A sender that nobody saw");
  return others.reduce((most, one) => (score(one) > score(most) ? one : most), first);
}
