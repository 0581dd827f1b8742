import type { Finding } from "../finding/finding.ts";
import { findingsOf, rowsOf } from "../finding/finding-row.ts";
import { nameList } from "../finding/wording.ts";
import type { StreamFacts } from "../run/stream-facts.ts";
import { scopeOf } from "../run/stream-scope.ts";
import { routersOnWay } from "../site/routers-on-way.ts";
import type { SiteIndex } from "../site/site-index.ts";
import { isBeyondScope } from "./out-of-reach.ts";

/** A stream whose group's address ends before some listeners, which got nothing of it. */
interface ScopeCase {
  readonly stream: string;
  readonly group: string;
  readonly source: string;
  readonly hosts: readonly string[];
  /** The first routers on the ways there; none where the group never leaves its host. */
  readonly routers: readonly string[];
  readonly isHostOnly: boolean;
}

const row = rowsOf<ScopeCase>({ streams: ({ stream }) => [stream], suspects: ({ source }) => [source] });

const SMALL_SCOPE = row({
  kind: "scope-too-small",
  match: (one) => one,
  title: ({ stream, group, hosts, routers, isHostOnly }) =>
    isHostOnly
      ? `${stream}: packets to ${group} never leave the sending host, so ${nameList(hosts)} got nothing`
      : `${stream} ends at ${nameList(routers)}: no router forwards ${group}, whatever the TTL, so ${nameList(hosts)} behind it got nothing`,
  evidence: ({ group, isHostOnly }) => [
    isHostOnly
      ? `${group} is interface-local: it is for programs of one host.`
      : `${group} is link-local: it is for hosts of one subnet.`,
  ],
  advice: ({ group }) =>
    `Send to a group that routers forward, for example in ${group.includes(":") ? "ff18::/16" : "239.192.0.0/14"}, or listen in the source's own subnet. A larger TTL changes nothing.`,
  reference: "RFC 5771, section 4; RFC 4291, section 2.7",
});

export function findSmallScope(site: SiteIndex, streams: readonly StreamFacts[]): Finding[] {
  return findingsOf(
    [SMALL_SCOPE],
    streams.flatMap((facts) => scopeCase(site, facts) ?? []),
  );
}

function scopeCase(site: SiteIndex, facts: StreamFacts): ScopeCase | null {
  const { stream, receipts, tree } = facts;
  const silent = receipts.filter(
    ({ listener, node }) => listener.receivedPackets === 0 && isBeyondScope(site, facts, node),
  );
  if (silent.length === 0 || stream.sentPackets === 0) return null;
  return {
    stream: stream.stream,
    group: stream.group,
    source: stream.source,
    hosts: silent.map(({ listener }) => listener.host),
    routers: [...new Set(silent.flatMap(({ node }) => routersOnWay(site, tree, node).slice(0, 1)))],
    isHostOnly: scopeOf(facts) === "host",
  };
}
