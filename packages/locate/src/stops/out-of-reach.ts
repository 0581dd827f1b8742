import { nameList } from "../finding/wording.ts";
import type { StreamFacts } from "../run/stream-facts.ts";
import { scopeOf } from "../run/stream-scope.ts";
import { routersOnWay } from "../site/routers-on-way.ts";
import type { SiteIndex } from "../site/site-index.ts";

/** A router passes on only what arrives with a TTL over 1, so a packet sent with TTL t passes t - 1 routers. */
export function isBeyondTtl(site: SiteIndex, { stream, tree }: StreamFacts, node: number): boolean {
  return stream.ttl !== null && routersOnWay(site, tree, node).length >= stream.ttl;
}

/** No router forwards a link-local group, and what is interface-local does not leave its host. */
export function isBeyondScope(site: SiteIndex, facts: StreamFacts, node: number): boolean {
  const scope = scopeOf(facts);
  return scope === "host" || (scope === "link" && routersOnWay(site, facts.tree, node).length > 0);
}

/** Silence that the sender's own settings explain accuses no place. */
export const isOutOfReach = (site: SiteIndex, facts: StreamFacts, node: number): boolean =>
  isBeyondScope(site, facts, node) || isBeyondTtl(site, facts, node);

/** What else keeps such groups from crossing a router, where there are any (RFC 2365; RFC 7346, section 2). */
export const boundaryEvidence = (scopedGroups: readonly string[]): string[] =>
  scopedGroups.length === 0
    ? []
    : [
        `${nameList(scopedGroups)} has a limited scope by its address: a router may be set up as the boundary of it, and forwards nothing of it then, whatever the TTL.`,
      ];
