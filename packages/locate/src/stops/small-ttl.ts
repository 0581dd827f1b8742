import type { Finding } from "../finding/finding.ts";
import { findingsOf, rowsOf } from "../finding/finding-row.ts";
import { count, nameList } from "../finding/wording.ts";
import type { StreamFacts } from "../run/stream-facts.ts";
import { scopeOf } from "../run/stream-scope.ts";
import { routersOnWay } from "../site/routers-on-way.ts";
import type { SiteIndex } from "../site/site-index.ts";
import { boundaryEvidence, isBeyondScope, isBeyondTtl } from "./out-of-reach.ts";

/** Streams of one source with a TTL too small for the same listeners, which got nothing of them. */
interface TtlCase {
  readonly streams: readonly string[];
  readonly source: string;
  readonly ttl: number;
  /** The router at which it ends. */
  readonly end: string;
  readonly beyond: readonly HostBeyond[];
  /** What gets to all of them. */
  readonly neededTtl: number;
  /** Groups of theirs that routers may be set up not to forward. */
  readonly scopedGroups: readonly string[];
}

interface HostBeyond {
  readonly host: string;
  readonly routers: readonly string[];
}

const ttlTo = ({ routers }: HostBeyond): number => routers.length + 1;

const row = rowsOf<TtlCase>({ streams: ({ streams }) => streams, suspects: ({ source }) => [source] });

const SMALL_TTL = row({
  kind: "ttl-too-small",
  match: (one) => one,
  title: ({ streams, ttl, end, beyond, neededTtl }) =>
    `${nameList(streams)} sent with TTL ${ttl} ends at ${end}, hop ${ttl}: ${nameList(beyond.map(({ host }) => host))} behind it got nothing, and TTL ${neededTtl} would do`,
  evidence: ({ beyond, scopedGroups }) => [
    ...beyond
      .slice(0, 5)
      .map(
        (one) =>
          `${one.host} lies behind ${count(one.routers.length, "router")} (${nameList(one.routers)}), so TTL ${ttlTo(one)} reaches it`,
      ),
    ...boundaryEvidence(scopedGroups),
  ],
  advice: ({ neededTtl }) =>
    `Send with a TTL of at least ${neededTtl}. The default for multicast is 1, which never leaves the subnet.`,
  reference: "RFC 1112, section 6.1; RFC 1812, section 5.3.1",
});

export function findSmallTtl(site: SiteIndex, streams: readonly StreamFacts[]): Finding[] {
  const cases = new Map<string, TtlCase>();
  for (const facts of streams) {
    const one = ttlCase(site, facts);
    if (one === null) continue;
    const key = JSON.stringify([one.source, one.ttl, one.beyond]);
    const known = cases.get(key);
    const scopedGroups = [...new Set([...(known?.scopedGroups ?? []), ...one.scopedGroups])];
    cases.set(key, { ...one, streams: [...(known?.streams ?? []), ...one.streams], scopedGroups });
  }
  return findingsOf([SMALL_TTL], [...cases.values()]);
}

function ttlCase(site: SiteIndex, facts: StreamFacts): TtlCase | null {
  const { stream, receipts, tree } = facts;
  const beyond = receipts
    .filter(({ listener, node }) => listener.receivedPackets === 0 && isBeyondTtl(site, facts, node))
    // No TTL helps there.
    .filter(({ node }) => !isBeyondScope(site, facts, node))
    .map(({ listener, node }) => ({ host: listener.host, routers: routersOnWay(site, tree, node) }));
  const [first] = beyond;
  if (first === undefined || stream.ttl === null || stream.sentPackets === 0) return null;
  return {
    streams: [stream.stream],
    source: stream.source,
    ttl: stream.ttl,
    end: first.routers[stream.ttl - 1] ?? "a router",
    beyond,
    neededTtl: Math.max(...beyond.map(ttlTo)),
    scopedGroups: scopeOf(facts) === "zone" ? [stream.group] : [],
  };
}
