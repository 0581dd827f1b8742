import type { MembershipEvent, MembershipQuery } from "@dyetrace/wire";
import { isProxySource, type QueryAcceptance, queryAcceptance } from "./query-acceptance.ts";

/**
 * Queries of one address, version, VLAN and sender's MAC address: two switches that query from 0.0.0.0, and one that
 * speaks two versions, stand apart. Times in ms after the run's start.
 */
export interface QuerierSeen {
  readonly address: string;
  readonly mac: string;
  readonly vlanId: number | null;
  readonly family: 4 | 6;
  readonly protocol: "igmp" | "mld";
  readonly version: 1 | 2 | 3;
  /** This very host sent them. */
  readonly isOwn: boolean;
  /** Source 0.0.0.0 or ::, which takes no part in the election. */
  readonly isProxy: boolean;
  /** `heeded` if hosts act on the latest query, else why not. */
  readonly acceptance: QueryAcceptance;
  readonly firstMs: number;
  readonly lastMs: number;
  /** General queries. */
  readonly queries: number;
  /** Queries about one group, or about one group and some sources. */
  readonly groupQueries: number;
  /** When the general queries came; ascending. */
  readonly generalQueryMs: readonly number[];
  /** Median time between general queries; null with fewer than two. The first may come in quicker succession. */
  readonly intervalSeenMs: number | null;
  /** QQIC of the latest general query; null where the version has none or it says nothing. */
  readonly intervalAdvertisedMs: number | null;
  /** Max response time of the latest general query; null when there was none. */
  readonly maxResponseMs: number | null;
  /** QRV of the latest general query; null where the version has none or it says nothing. */
  readonly robustness: number | null;
}

/** @param events ascending in time @returns in order of first appearance */
export function queriersSeen(events: readonly MembershipEvent[]): readonly QuerierSeen[] {
  const heard = new Map<string, { readonly event: MembershipEvent; readonly query: MembershipQuery }[]>();
  for (const event of events) {
    const query = event.message;
    if (query.kind !== "query" || query.checksum === "bad") continue;
    const key = [query.family, query.source, query.sourceMac, query.vlanId, query.version, event.direction].join(" ");
    const list = heard.get(key);
    if (list === undefined) heard.set(key, [{ event, query }]);
    else list.push({ event, query });
  }
  return [...heard.values()].flatMap((list) => summarise(list));
}

function summarise(
  list: readonly { readonly event: MembershipEvent; readonly query: MembershipQuery }[],
): readonly QuerierSeen[] {
  const first = list[0];
  const last = list.at(-1);
  if (first === undefined || last === undefined) return [];
  const general = list.filter((entry) => entry.query.group === null);
  const lastGeneral = general.at(-1)?.query;
  const generalQueryMs = general.map((entry) => entry.event.atNs / 1e6);
  return [
    {
      address: first.query.source,
      mac: first.query.sourceMac,
      vlanId: first.query.vlanId,
      family: first.query.family,
      protocol: first.query.protocol,
      version: first.query.version,
      isOwn: first.event.direction === "out",
      isProxy: isProxySource(first.query.source),
      acceptance: queryAcceptance(last.query),
      firstMs: first.event.atNs / 1e6,
      lastMs: last.event.atNs / 1e6,
      queries: general.length,
      groupQueries: list.length - general.length,
      generalQueryMs,
      intervalSeenMs: median(generalQueryMs.slice(1).map((atMs, i) => atMs - (generalQueryMs[i] ?? atMs))),
      intervalAdvertisedMs: lastGeneral?.queryIntervalMs ?? null,
      maxResponseMs: lastGeneral?.maxResponseMs ?? null,
      robustness: lastGeneral?.robustness ?? null,
    },
  ];
}

function median(values: readonly number[]): number | null {
  const sorted = values.toSorted((a, b) => a - b);
  const upper = sorted[Math.floor(sorted.length / 2)];
  const lower = sorted[Math.ceil(sorted.length / 2) - 1];
  return upper === undefined || lower === undefined ? null : (lower + upper) / 2;
}
