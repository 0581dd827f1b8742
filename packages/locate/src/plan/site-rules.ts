import { querierOf } from "@dyetrace/site";
import type { Finding } from "../finding/finding.ts";
import { count, nameList, seconds } from "../finding/wording.ts";
import type { QuerierHeard, QuerierObservation, RunObservations } from "../run/run-observations.ts";
import type { StreamFacts } from "../run/stream-facts.ts";
import type { SiteIndex } from "../site/site-index.ts";
import { isAtOrBelow, nodesDownTo, sourceTree } from "../site/source-tree.ts";

/** Findings about the site as a whole rather than about one way through it. */
export function findSiteFaults(site: SiteIndex, run: RunObservations, streams: readonly StreamFacts[]): Finding[] {
  return [
    ...noQuerier(site, run),
    ...twoQueriers(site, run),
    ...foreignTraffic(streams),
    ...wrongHops(site, streams),
    ...unknownPlaces(streams),
  ];
}

/** Nobody in a VLAN heard a general query for longer than an absent querier may stay unnoticed (RFC 3376, section 8.5). */
function noQuerier(site: SiteIndex, run: RunObservations): Finding[] {
  const { queryIntervalMs, queryResponseMs, robustness } = run.timers;
  const presentMs = robustness * queryIntervalMs + queryResponseMs / 2;
  return byDomain(site, run.queriers).flatMap(({ vlan, queriers }) => {
    const watching = queriers.filter((one) => one.canHear && one.watchedToMs - one.watchedFromMs > presentMs);
    const [first] = watching;
    if (first === undefined || queriers.some((one) => one.queriers.length > 0)) return [];
    const planned = querierOf(site.graph, vlan === null ? (run.streams[0]?.source ?? "") : first.host);
    const where = vlan === null ? "" : ` in VLAN ${vlan}`;
    return {
      kind: "no-querier",
      streams: [],
      suspects: planned === null || planned.isAssumed ? [] : [planned.node],
      confidence: 0.95,
      title: `No querier${where}: ${nameList(watching.map((one) => one.host))} heard no general query for ${seconds(presentMs)} and more`,
      evidence: watching
        .slice(0, 5)
        .map((one) => `${one.host} listened for ${seconds(one.watchedToMs - one.watchedFromMs)} and heard none.`),
      advice:
        "Give one switch or router in this VLAN the part of the querier, with an address, and a second one as standby. Without one, memberships run out or the switches flood.",
      reference: "RFC 4541, section 2.1.1; RFC 3376, section 8.5",
    };
  });
}

interface DomainQueriers {
  /** Null in a plan without VLANs. */
  readonly vlan: number | null;
  readonly queriers: readonly QuerierObservation[];
}

/** Queries stay in their VLAN: what hosts of one hear says nothing about another. All hosts together without VLANs. */
function byDomain({ graph }: SiteIndex, queriers: readonly QuerierObservation[]): DomainQueriers[] {
  if (graph.vlans === undefined) return [{ vlan: null, queriers }];
  const vlanOf = (host: string): number | undefined => graph.outgoing.get(host)?.[0]?.link.vlans?.[0];
  return [...graph.vlans.keys()].map((vlan) => ({
    vlan,
    queriers: queriers.filter(({ host }) => vlanOf(host) === vlan),
  }));
}

interface QuerierPair {
  readonly host: string;
  readonly addresses: readonly [string, string];
}

/** Two addresses that go on asking at the same time: an election would have left one. */
function twoQueriers(site: SiteIndex, run: RunObservations): Finding[] {
  const pairs = run.queriers.filter((one) => one.canHear).flatMap(rivalsAt);
  if (pairs.length > 0) {
    const addresses = [...new Set(pairs.flatMap((pair) => pair.addresses))];
    return [
      queriersFinding(addresses, [], 0.95, [
        `${nameList(pairs.map((pair) => pair.host))} heard queries from ${nameList(addresses)} throughout; the one with the lower address should be alone.`,
      ]),
    ];
  }
  return byDomain(site, run.queriers).flatMap(({ queriers }) => islands(site, queriers));
}

function rivalsAt({ host, queriers }: QuerierObservation): QuerierPair[] {
  const isLasting = (q: QuerierHeard): boolean => q.queries >= 2 && !["0.0.0.0", "::"].includes(q.address);
  const lasting = queriers.filter(isLasting);
  for (const [i, a] of lasting.entries()) {
    for (const b of lasting.slice(i + 1)) {
      const overlapMs = Math.min(a.lastMs, b.lastMs) - Math.max(a.firstMs, b.firstMs);
      const intervalMs = Math.min((a.lastMs - a.firstMs) / (a.queries - 1), (b.lastMs - b.firstMs) / (b.queries - 1));
      if (a.family === b.family && a.address !== b.address && overlapMs > intervalMs) {
        return [{ host, addresses: [a.address, b.address] }];
      }
    }
  }
  return [];
}

/** One link parts the hosts that hear one querier from those that hear another: queries do not cross it. */
function islands(site: SiteIndex, queriers: readonly QuerierObservation[]): Finding[] {
  const heard = queriers.flatMap(({ host, canHear, queriers }) => {
    const node = site.nodeNumber.get(host);
    const lasting = queriers.filter((q) => q.queries >= 2 && q.family === 4);
    const [only] = lasting;
    return canHear && node !== undefined && lasting.length === 1 && only !== undefined
      ? [{ host, node, address: only.address }]
      : [];
  });
  const addresses = [...new Set(heard.map((one) => one.address))];
  const [first] = heard;
  if (addresses.length !== 2 || first === undefined) return [];
  const tree = sourceTree(site, first.node);
  const other = heard.find((one) => one.address !== first.address);
  if (other === undefined) return [];
  const path = nodesDownTo(tree, other.node);
  const parting = path.filter((top) =>
    heard.every(({ node, address }) => isAtOrBelow(tree, node, top) === (address !== first.address)),
  );
  // Behind a router there is another domain with a querier of its own, rightly.
  if (parting.length === 0 || path.some((node) => site.nodes[node]?.kind === "router")) return [];
  const suspects = parting.flatMap((node) => {
    const segment = tree.into[node] ?? -1;
    return [site.segments[segment]?.id ?? "", site.segments[site.reverse[segment] ?? -1]?.id ?? ""];
  });
  const sideOf = (address: string): string =>
    nameList(heard.filter((one) => one.address === address).map((one) => one.host));
  return [
    queriersFinding(
      addresses,
      suspects.filter((id) => id !== ""),
      0.85,
      addresses.map((address) => `${sideOf(address)} hear only ${address}.`),
    ),
  ];
}

function queriersFinding(
  addresses: readonly string[],
  suspects: readonly string[],
  confidence: number,
  evidence: readonly string[],
): Finding {
  return {
    kind: "two-queriers",
    streams: [],
    suspects,
    confidence,
    title: `Two queriers at once: ${nameList(addresses)} both ask, so queries of one do not reach the other`,
    evidence,
    advice:
      "Find out which of the two belongs there. Then see what keeps their queries apart: a filter on the way, or different VLANs that hear each other only in part.",
    reference: "RFC 3376, section 6.6.2",
  };
}

function foreignTraffic(streams: readonly StreamFacts[]): Finding[] {
  return streams.flatMap(({ stream, receipts }) => {
    const hit = receipts.filter((receipt) => (receipt.listener.foreignPackets ?? 0) > 0);
    if (hit.length === 0) return [];
    return {
      kind: "foreign-traffic",
      streams: [stream.stream],
      suspects: [],
      confidence: 0.95,
      title: `Somebody else sends to ${stream.group}: ${nameList(hit.map((r) => r.listener.host))} got packets that are not of this run`,
      evidence: hit
        .slice(0, 5)
        .map((r) => `${r.listener.host}: ${count(r.listener.foreignPackets ?? 0, "packet")} that are not this run's`),
      advice:
        "Choose another group for the test, or find the sender: two sources on one group and port garble each other.",
      reference: "RFC 2365, section 6; common practice",
    };
  });
}

/** TTL sent less TTL seen is the number of routers passed; the plan says how many there are. */
function wrongHops(site: SiteIndex, streams: readonly StreamFacts[]): Finding[] {
  return streams.flatMap(({ stream, tree, receipts }) => {
    const wrong = receipts.flatMap((receipt) => {
      const { ttlSeen } = receipt.listener;
      if (stream.ttl === null || ttlSeen === null) return [];
      const passed = stream.ttl - ttlSeen;
      const planned = nodesDownTo(tree, receipt.node).filter((n) => site.nodes[n]?.kind === "router").length;
      return passed === planned ? [] : [{ host: receipt.listener.host, passed, planned }];
    });
    if (wrong.length === 0) return [];
    return {
      kind: "plan-mismatch",
      streams: [stream.stream],
      suspects: [],
      confidence: 0.9,
      title: `The plan and the way of ${stream.stream} to ${nameList(wrong.map((w) => w.host))} do not agree on the routers in between`,
      evidence: wrong
        .slice(0, 5)
        .map((w) => `${w.host}: ${count(w.passed, "router")} passed by the TTL, ${w.planned} in the plan`),
      advice: "Correct the site plan: names of segments on this way mean little until it is right.",
      reference: "RFC 1812, section 5.3.1",
    };
  });
}

/** Hosts that the plan does not connect to the source, though packets came. */
function unknownPlaces(streams: readonly StreamFacts[]): Finding[] {
  return streams.flatMap(({ stream, unreachable }) => {
    const served = unreachable.filter((listener) => listener.receivedPackets > 0).map((listener) => listener.host);
    if (served.length === 0) return [];
    return {
      kind: "plan-mismatch",
      streams: [stream.stream],
      suspects: [],
      confidence: 0.95,
      title: `${nameList(served)} received ${stream.stream}, but no way leads there in the plan`,
      evidence: ["A packet cannot come where no link leads: a link or a node is missing in the plan."],
      advice: "Complete the site plan and repeat the run.",
      reference: "common practice, no standard",
    };
  });
}
