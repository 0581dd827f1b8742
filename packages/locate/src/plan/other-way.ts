import type { Finding } from "../finding/finding.ts";
import { findingsOf, rowsOf } from "../finding/finding-row.ts";
import { count, nameList } from "../finding/wording.ts";
import type { StreamFacts } from "../run/stream-facts.ts";
import { routersOnWay } from "../site/routers-on-way.ts";
import type { SiteIndex } from "../site/site-index.ts";
import { isOtherWay, routersTo, waysFrom } from "../site/ways-from.ts";

/** What one source sends comes another way than the plan's. */
interface OtherWay {
  readonly source: string;
  readonly streams: readonly string[];
  readonly hosts: readonly HostBehind[];
}

interface HostBehind {
  readonly host: string;
  readonly passed: number;
  readonly planned: readonly string[];
  /** Routers of a way that has as many. */
  readonly fitting: readonly string[];
}

const row = rowsOf<OtherWay>({ streams: ({ streams }) => streams, suspects: () => [] });

/** A sender or a host between may set another TTL than the kernel's own. Our estimate, no source. */
const HOPS_CONFIDENCE = 0.9;
const MOST_LINES = 5;

const OTHER_WAY = row({
  kind: "plan-mismatch",
  match: (one) => one,
  title: ({ source, hosts }) =>
    `What ${source} sends comes to ${nameList(hosts.map(({ host }) => host))} another way than the plan's: by the TTL it passed ${listOfCounts(hosts)}`,
  evidence: ({ hosts }) => [
    ...hosts
      .slice(0, MOST_LINES)
      .map(
        ({ host, passed, planned, fitting }) =>
          `${host}: ${count(passed, "router")} passed, ${planned.length} in the plan (${nameList(planned)}). A way through ${nameList(fitting)} has as many.`,
      ),
    "What is said of places in this report is said of ways with these hop counts. The plan's own way is not tested by these packets.",
  ],
  confidence: () => HOPS_CONFIDENCE,
  advice:
    "Compare each router's unicast route back to this source, and what it costs, with the plan: a link or router of the planned way may be down, so that packets silently come by the next one. Then correct the plan, or the routes.",
  reference: "RFC 7761, section 4.2; RFC 1812, section 5.3.1",
});

const listOfCounts = (hosts: readonly HostBehind[]): string => {
  const pairs = hosts.map(({ passed, planned }) => `${count(passed, "router")} instead of ${planned.length}`);
  return nameList(pairs);
};

export function findOtherWays(site: SiteIndex, streams: readonly StreamFacts[]): Finding[] {
  const bySource = new Map<string, StreamFacts[]>();
  for (const facts of streams) {
    const { source } = facts.stream;
    if (isOtherWay(site.graph, source, site.alternatives.get(source) ?? 0))
      bySource.set(source, [...(bySource.get(source) ?? []), facts]);
  }
  return findingsOf(
    [OTHER_WAY],
    [...bySource].flatMap(([source, ofSource]) => otherWay(site, source, ofSource) ?? []),
  );
}

function otherWay(site: SiteIndex, source: string, streams: readonly StreamFacts[]): OtherWay | null {
  const hosts = new Map<string, HostBehind>();
  const concerned = new Set<string>();
  for (const { stream, tree, receipts } of streams) {
    for (const { listener, node } of receipts) {
      if (stream.ttl === null || listener.ttlSeen === null) continue;
      const passed = stream.ttl - listener.ttlSeen;
      const planned = plannedWith(site, source, listener.host, passed);
      if (planned === null) continue;
      concerned.add(stream.stream);
      hosts.set(listener.host, { host: listener.host, passed, planned, fitting: routersOnWay(site, tree, node) });
    }
  }
  return hosts.size === 0 ? null : { source, streams: [...concerned], hosts: [...hosts.values()] };
}

/** The routers of the plan's way to a host; null where some way of the plan has as many routers as were passed. */
function plannedWith(site: SiteIndex, source: string, host: string, passed: number): readonly string[] | null {
  const ways = waysFrom(site.graph, source).planned.flatMap((one) => {
    const routers = routersTo(site.graph, one, source, host);
    return routers === null ? [] : [routers];
  });
  return ways.some((routers) => routers.length === passed) ? null : (ways[0] ?? null);
}

/** Where ways are other than the plan's, no place on them can be sure. Our estimate, held against the truth by the bench. */
const MOST_BESIDE_OTHER_WAY = 0.8;

/** Where packets told that some way is not the plan's cheapest, no finding is surer than the ways are. */
export const withDoubtOfWays = (findings: readonly Finding[]): Finding[] =>
  findings.map((finding) =>
    finding.suspects.length === 0
      ? finding
      : { ...finding, confidence: Math.min(finding.confidence, MOST_BESIDE_OTHER_WAY) },
  );
