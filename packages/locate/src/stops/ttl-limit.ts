import type { Finding } from "../finding/finding.ts";
import { count, nameList } from "../finding/wording.ts";
import type { StreamFacts } from "../run/stream-facts.ts";
import type { SiteIndex } from "../site/site-index.ts";
import { nodesDownTo } from "../site/source-tree.ts";

/** A router passes on only what arrives with a TTL over 1, so a packet sent with TTL t passes t - 1 routers. */
export function isBeyondTtl(site: SiteIndex, facts: StreamFacts, node: number): boolean {
  return facts.stream.ttl !== null && routersOnWay(site, facts, node).length >= facts.stream.ttl;
}

function routersOnWay(site: SiteIndex, { tree }: StreamFacts, node: number): string[] {
  return nodesDownTo(tree, node).flatMap((step) => {
    const at = site.nodes[step];
    return at?.kind === "router" && step !== node ? [at.name] : [];
  });
}

/** Streams sent with too small a TTL for listeners that got nothing of them; those of one source that end alike together. */
export function findSmallTtl(site: SiteIndex, streams: readonly StreamFacts[]): Finding[] {
  const findings = new Map<string, Finding>();
  for (const facts of streams) {
    const finding = smallTtl(site, facts);
    if (finding === null) continue;
    const key = [...finding.suspects, ...finding.evidence].join();
    const same = findings.get(key);
    const names = [...(same?.streams ?? []), ...finding.streams];
    findings.set(key, { ...finding, streams: names, title: `${nameList(names)} ${finding.title}` });
  }
  return [...findings.values()];
}

/** Its title lacks the streams' names. */
function smallTtl(site: SiteIndex, facts: StreamFacts): Finding | null {
  const { stream, receipts } = facts;
  const beyond = receipts.filter(
    (receipt) => receipt.listener.receivedPackets === 0 && isBeyondTtl(site, facts, receipt.node),
  );
  const [first] = beyond;
  if (first === undefined || stream.ttl === null || stream.sentPackets === 0) return null;
  const end = routersOnWay(site, facts, first.node)[stream.ttl - 1] ?? "a router";
  const neededFor = (node: number): number => routersOnWay(site, facts, node).length + 1;
  const needed = Math.max(...beyond.map((receipt) => neededFor(receipt.node)));
  return {
    kind: "ttl-too-small",
    streams: [stream.stream],
    suspects: [stream.source],
    confidence: 0.95,
    title: `sent with TTL ${stream.ttl} ends at ${end}, hop ${stream.ttl}: ${nameList(beyond.map((r) => r.listener.host))} behind it got nothing, and TTL ${needed} would do`,
    evidence: beyond
      .slice(0, 5)
      .map(
        (r) =>
          `${r.listener.host} lies behind ${count(neededFor(r.node) - 1, "router")} (${nameList(routersOnWay(site, facts, r.node))}), so TTL ${neededFor(r.node)} reaches it`,
      ),
    advice: `Send with a TTL of at least ${needed}. The default for multicast is 1, which never leaves the subnet.`,
    reference: "RFC 1112, section 6.1; RFC 1812, section 5.3.1",
  };
}
