import type { SourceWays } from "@dyetrace/site";
import { count, nameList } from "../finding/wording.ts";
import type { StreamFacts } from "../run/stream-facts.ts";
import type { SiteIndex } from "../site/site-index.ts";
import { isOtherWay, routersTo, waysFrom } from "../site/ways-from.ts";

/**
 * What is known of the ways that packets took, beside the findings: where they came by another router than the cheapest
 * routes would have it, though by the rules of who answers for a subnet; and where nothing tells which of several ways it was.
 */
export function wayRemarks(site: SiteIndex, streams: readonly StreamFacts[]): string[] {
  if (!site.hasRouters) return [];
  const untold: Untold[] = [];
  const remarks: string[] = [];
  for (const [source, ofSource] of bySource(streams)) {
    // That is a finding, and says what it rests on.
    if (isOtherWay(site.graph, source, site.alternatives.get(source) ?? 0)) continue;
    const served = servedHosts(ofSource);
    remarks.push(...dearerWay(site, source, served));
    untold.push(...untoldWay(site, source, served));
  }
  return [...remarks, ...untoldRemark(untold)];
}

function bySource(streams: readonly StreamFacts[]): Map<string, StreamFacts[]> {
  const groups = new Map<string, StreamFacts[]>();
  for (const facts of streams) groups.set(facts.stream.source, [...(groups.get(facts.stream.source) ?? []), facts]);
  return groups;
}

/** By host that got packets, how many routers these passed; null where no TTL told. */
function servedHosts(streams: readonly StreamFacts[]): Map<string, number | null> {
  const served = new Map<string, number | null>();
  for (const { stream, receipts } of streams) {
    for (const { listener } of receipts) {
      if (listener.receivedPackets === 0) continue;
      const passed = stream.ttl === null || listener.ttlSeen === null ? null : stream.ttl - listener.ttlSeen;
      served.set(listener.host, passed ?? served.get(listener.host) ?? null);
    }
  }
  return served;
}

type Served = ReadonlyMap<string, number | null>;

/** The routers on each of the ways to a host. */
function routersOnEach(site: SiteIndex, ways: readonly SourceWays[], source: string, host: string): string[][] {
  return ways.flatMap((one) => {
    const routers = routersTo(site.graph, one, source, host);
    return routers === null ? [] : [routers];
  });
}

/** True where some packets passed more or fewer routers than on any of the plan's cheapest ways. */
export const isAnyWayDearer = (site: SiteIndex, streams: readonly StreamFacts[]): boolean =>
  site.hasRouters &&
  [...bySource(streams)].some(([source, ofSource]) => dearerHosts(site, source, servedHosts(ofSource)).length > 0);

function dearerHosts(site: SiteIndex, source: string, served: Served): (readonly [string, number | null])[] {
  const { cheapest } = waysFrom(site.graph, source);
  return [...served].filter(([host, passed]) => {
    const routers = routersOnEach(site, cheapest, source, host);
    return passed !== null && routers.length > 0 && routers.every(({ length }) => length !== passed);
  });
}

function dearerWay(site: SiteIndex, source: string, served: Served): string[] {
  const hosts = dearerHosts(site, source, served);
  if (hosts.length === 0) return [];
  const names = nameList(hosts.map(([host]) => host));
  return [
    `What ${source} sends comes to ${names} another way than by the cheapest routes of the plan: it passed ${nameList(hosts.map(([, passed]) => count(passed ?? 0, "router")))}. Of several routers on a subnet the designated one may bring packets by a route of its own (RFC 7761, section 4.3). With the routers' addresses in the plan it can be told whether it is that one.`,
  ];
}

interface Untold {
  readonly source: string;
  readonly hosts: readonly string[];
}

/** Hosts whose packets may have come by other routers that are as many. */
function untoldWay(site: SiteIndex, source: string, served: Served): Untold[] {
  const { planned, others } = waysFrom(site.graph, source);
  const hosts = [...served].flatMap(([host, passed]) => {
    const all = routersOnEach(site, [...planned, ...others()], source, host);
    const likely = passed === null ? all : all.filter(({ length }) => length === passed);
    return new Set(likely.map((routers) => routers.join())).size > 1 ? [host] : [];
  });
  return hosts.length === 0 ? [] : [{ source, hosts }];
}

function untoldRemark(untold: readonly Untold[]): string[] {
  if (untold.length === 0) return [];
  const pairs = untold.map(({ source, hosts }) => `${source} to ${nameList(hosts)}`);
  return [
    `Nothing in this run tells by which routers packets came from ${nameList(pairs)}: there is more than one way, and hop counts fit several. That these packets came clears the plan's way only if it is the one that they took.`,
  ];
}
