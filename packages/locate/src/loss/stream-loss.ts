import { countRanges, intersectRanges, mergeSequenceRanges, subtractRanges } from "@dyetrace/measure";
import type { PlacedReceipt } from "../run/clean-receipt.ts";
import type { SeqRange } from "../run/run-observations.ts";
import type { StreamFacts } from "../run/stream-facts.ts";
import type { SourceTree } from "../site/source-tree.ts";
import { droppedBy, withoutHostDrops } from "./host-drops.ts";
import type { LinkEstimate } from "./link-estimate.ts";
import { estimateLoss } from "./loss-estimator.ts";
import type { LossTree } from "./loss-tree.ts";

/** Loss that one stream shows on a chain of segments with no branch in between. */
export interface ChainLoss {
  readonly facts: StreamFacts;
  /** Segment numbers from the source downwards; empty for an agent on a node that itself has branches. */
  readonly segments: readonly number[];
  /** Set where the chain ends at a listener, whose own host is then part of it. */
  readonly receipt: PlacedReceipt | null;
  /** Listeners at or below the lower end. */
  readonly hosts: readonly string[];
  readonly link: LinkEstimate;
}

/** Which numbers and which listeners to look at. */
export interface LossScope {
  /** Only these numbers; null for all. */
  readonly numbers: SeqRange | null;
  /** Numbers that say nothing about loss rates: outages that have been explained, packets that a host dropped or that nobody can tell of. */
  readonly excluded: readonly SeqRange[];
  /** By node number: from which sequence number on a listener heard nothing more. That is a stop, not a loss. */
  readonly stoppedFrom: ReadonlyMap<number, number>;
}

/** With fewer packets nothing is said about rates: one lost packet would be a per cent. Common practice, no source. */
const FEWEST_PACKETS = 100;

/** Empty when too little is known. */
export function streamLoss(facts: StreamFacts, scope: LossScope): ChainLoss[] {
  const usable: UsableReceipt[] = [];
  for (const receipt of facts.receipts) {
    const one = usableReceipt(receipt, scope);
    if (one !== null) usable.push(one);
  }
  const { receipts, window } = commonWindow(longestOfEachHost(usable));
  if (window === null) return [];
  const sent = subtractRanges([window], mergeSequenceRanges([...facts.stream.unsent, ...scope.excluded]));
  const packets = countRanges(sent);
  if (packets < FEWEST_PACKETS) return [];
  const heard: Heard[] = [];
  for (const { receipt } of receipts) {
    const lost = lostOf(receipt, sent);
    if (countRanges(lost) < packets) heard.push({ receipt, lost });
  }
  if (heard.length === 0) return [];
  const logical = logicalTree(facts.tree, heard);
  const tree = { parents: logical.parents, lostBy: logical.lostBy, sent };
  const dropped = logical.ends.map((end) => (end?.receipt ? droppedBy(end.receipt.listener) : null));
  const links = withoutHostDrops(estimateLoss(tree, runFactor(heard, packets)), logical.parents, dropped);
  const chains: ChainLoss[] = [];
  for (const [node, link] of links.entries()) {
    const end = logical.ends[node];
    if (link === null || end === undefined) continue;
    const { segments, receipt, hosts } = end;
    chains.push({ facts, segments, receipt, hosts, link });
  }
  return chains;
}

/**
 * How much the variance of a count grows when losses come in runs like these: mean square over mean length, against what
 * independent losses of the same share would show. A link that lost nothing shows no bursts of its own, yet the next one
 * might last as long as those elsewhere.
 */
function runFactor(heard: readonly Heard[], sentPackets: number): number {
  let packets = 0;
  let squares = 0;
  for (const { lost } of heard) {
    for (const [first, last] of lost) {
      packets += last - first + 1;
      squares += (last - first + 1) ** 2;
    }
  }
  const lossRatio = packets / (heard.length * sentPackets);
  return packets === 0 ? 1 : Math.max(1, (squares / packets) * ((1 - lossRatio) / (1 + lossRatio)));
}

/** A receipt's list lies within its window already; with no more cut away it is used as it is. */
function lostOf({ lost, window }: PlacedReceipt, sent: readonly SeqRange[]): readonly SeqRange[] {
  const [only] = sent;
  const isUncut = sent.length === 1 && only !== undefined && only[0] <= window[0] && only[1] >= window[1];
  return isUncut ? lost : intersectRanges(lost, sent);
}

interface UsableReceipt {
  readonly receipt: PlacedReceipt;
  readonly window: SeqRange;
}

/** Share of a listener's numbers that must come before its stop if it is to be used at all. Our choice, no source. */
const LEAST_SHARE = 0.5;

function usableReceipt(receipt: PlacedReceipt, scope: LossScope): UsableReceipt | null {
  if (receipt.listener.isLostListExact === false) return null;
  const [first, last] = receipt.window;
  const stop = scope.stoppedFrom.get(receipt.node);
  const end = stop === undefined ? last : Math.min(last, stop - 1);
  if (end - first + 1 < LEAST_SHARE * (last - first + 1)) return null;
  if (end === last && scope.numbers === null) return { receipt, window: receipt.window };
  const window: SeqRange = [Math.max(first, scope.numbers?.[0] ?? first), Math.min(end, scope.numbers?.[1] ?? end)];
  return window[1] < window[0] ? null : { receipt, window };
}

/** A host that joined several times counts once, with its longest membership. */
function longestOfEachHost(usable: readonly UsableReceipt[]): UsableReceipt[] {
  const byNode = new Map<number, UsableReceipt>();
  const width = ({ window }: UsableReceipt): number => window[1] - window[0];
  for (const one of usable) {
    const known = byNode.get(one.receipt.node);
    if (known === undefined || width(one) > width(known)) byNode.set(one.receipt.node, one);
  }
  return [...byNode.values()];
}

/** The numbers that all listeners should have. One that would cut them to less than half is left out instead. */
function commonWindow(usable: readonly UsableReceipt[]): {
  readonly receipts: readonly UsableReceipt[];
  readonly window: SeqRange | null;
} {
  let receipts = [...usable];
  const widest = Math.max(0, ...receipts.map(({ window }) => window[1] - window[0] + 1));
  while (receipts.length > 0) {
    const first = Math.max(...receipts.map(({ window }) => window[0]));
    const last = Math.min(...receipts.map(({ window }) => window[1]));
    if (last - first + 1 >= LEAST_SHARE * widest) return { receipts, window: [first, last] };
    const withoutLatest = receipts.filter(({ window }) => window[0] < first);
    const withoutEarliest = receipts.filter(({ window }) => window[1] > last);
    receipts = withoutLatest.length >= withoutEarliest.length ? withoutLatest : withoutEarliest;
  }
  return { receipts, window: null };
}

interface LogicalTree extends Omit<LossTree, "sent"> {
  readonly ends: readonly (Pick<ChainLoss, "segments" | "receipt" | "hosts"> | undefined)[];
}

interface Heard {
  readonly receipt: PlacedReceipt;
  readonly lost: readonly SeqRange[];
}

/** Merges every chain without a branch into one link. */
function logicalTree(tree: SourceTree, heard: readonly Heard[]): LogicalTree {
  const byNode = new Map(heard.map((one) => [one.receipt.node, one]));
  const hostsBelow = new Map<number, string[]>();
  const branches = new Map<number, number>();
  for (let at = tree.order.length - 1; at >= 0; at--) {
    const node = tree.order[at] as number;
    const own = byNode.get(node);
    const below = hostsBelow.get(node);
    if (own === undefined && below === undefined) continue;
    const hosts = below ?? [];
    if (own !== undefined) hosts.unshift(own.receipt.listener.host);
    hostsBelow.set(node, hosts);
    branches.set(node, (branches.get(node) ?? 0) + (own === undefined ? 0 : 1));
    const parent = tree.parent[node] ?? -1;
    if (parent === -1) continue;
    branches.set(parent, (branches.get(parent) ?? 0) + 1);
    const together = hostsBelow.get(parent) ?? [];
    hostsBelow.set(parent, together);
    for (const host of hosts) together.push(host);
  }

  const parents: number[] = [0];
  const lostBy: (readonly SeqRange[] | null)[] = [null];
  const ends: LogicalTree["ends"][number][] = [undefined];
  const addNode = (parent: number, lost: readonly SeqRange[] | null, end: LogicalTree["ends"][number]): number => {
    parents.push(parent);
    lostBy.push(lost);
    ends.push(end);
    return parents.length - 1;
  };
  // For every node on the tree: the logical node above it, and the segments since then.
  const reached = new Map<number, { readonly logical: number; readonly segments: readonly number[] }>();
  reached.set(tree.source, { logical: 0, segments: [] });
  for (const node of tree.order) {
    const hosts = hostsBelow.get(node);
    const above = reached.get(tree.parent[node] ?? -1);
    if (hosts === undefined || above === undefined) continue;
    const segments = [...above.segments, tree.into[node] ?? -1];
    const own = byNode.get(node);
    if ((branches.get(node) ?? 0) > 1) {
      const logical = addNode(above.logical, null, { segments, receipt: null, hosts });
      if (own !== undefined) {
        addNode(logical, own.lost, { segments: [], receipt: own.receipt, hosts: [own.receipt.listener.host] });
      }
      reached.set(node, { logical, segments: [] });
    } else if (own !== undefined) {
      addNode(above.logical, own.lost, { segments, receipt: own.receipt, hosts });
    } else {
      reached.set(node, { logical: above.logical, segments });
    }
  }
  return { parents, lostBy, ends };
}
