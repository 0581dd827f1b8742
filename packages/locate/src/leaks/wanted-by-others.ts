import type { ListenerObservation, MembershipTimers } from "../run/run-observations.ts";
import type { PlacedBystander, StreamFacts } from "../run/stream-facts.ts";
import type { SiteIndex } from "../site/site-index.ts";
import { LEAVE_GRACE_MS } from "./leak-pattern.ts";
import { wantedPorts } from "./wanted-ports.ts";

interface PlacedStay {
  readonly node: number;
  readonly listener: ListenerObservation;
}

/** Stays at or below a node of the stream's tree; `inDomain` those with no router between. */
interface StaysBelow {
  readonly all: PlacedStay[];
  readonly inDomain: PlacedStay[];
}

/**
 * Frames that go on after a host's leave are rightly there while somebody else behind the same port is still a member:
 * some other host whose stay in the group, by this stream, lasts as long as the frames do or ends shortly before. The
 * ports are those of `wantedPorts`, asked for one host at a time: only what lies on its way is looked at.
 */
export class WantedByOthers {
  readonly #site: SiteIndex;
  readonly #facts: StreamFacts;
  readonly #timers: MembershipTimers;
  readonly #below = new Map<number, StaysBelow>();
  /** By the number of the node behind the port: open though nobody is a member. */
  readonly #isOpenAnyway: readonly boolean[];

  constructor(site: SiteIndex, facts: StreamFacts, queriers: ReadonlySet<number>, timers: MembershipTimers) {
    this.#site = site;
    this.#facts = facts;
    this.#timers = timers;
    this.#isOpenAnyway = wantedPorts(site, facts.tree, new Set(), queriers).isOpen;
    for (const { node, listener } of facts.receipts) this.#place({ node, listener });
    for (const listener of facts.missing) this.#place({ node: site.nodeNumber.get(listener.host) ?? -1, listener });
  }

  has({ node, bystander }: PlacedBystander): boolean {
    const { tree } = this.#facts;
    const seenUntilMs = bystander.lastMs ?? 0;
    // Somebody else's leave takes its time, too.
    const leastLeftMs = seenUntilMs - this.#timers.lastMemberMs - LEAVE_GRACE_MS;
    const isOther = ({ node: member, listener: { joinedFromMs, joinedToMs } }: PlacedStay): boolean =>
      member !== node && joinedFromMs < seenUntilMs && (joinedToMs === null || joinedToMs >= leastLeftMs);
    for (let at = node; at !== tree.source; at = tree.parent[at] ?? -1) {
      if (at === -1) return false;
      if (this.#isOpenAnyway[at] !== true && !this.#membersBehind(at).some(isOther)) return false;
    }
    return true;
  }

  /** Whose membership opens the port into this node. */
  #membersBehind(node: number): readonly PlacedStay[] {
    const below = this.#below.get(node);
    switch (this.#site.nodes[this.#facts.tree.parent[node] ?? -1]?.kind) {
      case "switch":
        return below?.inDomain ?? [];
      case "router":
        return below?.all ?? [];
      default:
        return [];
    }
  }

  #place(stay: PlacedStay): void {
    const { tree } = this.#facts;
    let isInDomain = true;
    for (let at = stay.node; at !== -1; at = tree.parent[at] ?? -1) {
      if (at !== stay.node && this.#site.nodes[at]?.kind === "router") isInDomain = false;
      const below = this.#below.get(at) ?? { all: [], inDomain: [] };
      this.#below.set(at, below);
      below.all.push(stay);
      if (isInDomain) below.inDomain.push(stay);
    }
  }
}
