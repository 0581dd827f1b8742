import { countRanges, intersectRanges, mergeSequenceRanges, subtractRanges } from "@dyetrace/measure";
import type { PlacedReceipt } from "../run/clean-receipt.ts";
import type { SeqRange } from "../run/run-observations.ts";
import type { StreamFacts } from "../run/stream-facts.ts";
import { droppedBy, takeOutHostDrops } from "./host-drops.ts";
import { COLUMNS, LinkEstimate } from "./link-estimate.ts";
import { type Heard, LogicalTree } from "./logical-tree.ts";
import { estimateLoss } from "./loss-estimator.ts";

/** Loss that one stream shows on a chain of segments with no branch in between. */
export class ChainLoss {
  readonly facts: StreamFacts;
  readonly link: LinkEstimate;
  readonly #tree: LogicalTree;
  readonly #number: number;

  /** @param number of the logical node at its lower end */
  constructor(facts: StreamFacts, tree: LogicalTree, number: number, rows: Float64Array) {
    this.facts = facts;
    this.link = new LinkEstimate(rows, number * COLUMNS);
    this.#tree = tree;
    this.#number = number;
  }

  /** Segment numbers from the source downwards; empty for an agent on a node that itself has branches. */
  get segments(): readonly number[] {
    return this.#tree.segmentsOf(this.#number);
  }

  /** Set where the chain ends at a listener, whose own host is then part of it. */
  get receipt(): PlacedReceipt | null {
    return this.#tree.receipts[this.#number] ?? null;
  }

  /** What is lost here reaches nobody, and the stream's numbers don't show it, or not all of it: it loses at least so much. */
  get hidesLoss(): boolean {
    return this.facts.stream.numbering === "as-seen" && this.#tree.parents[this.#number] === 0;
  }

  /** Listeners at or below the lower end. */
  get hosts(): readonly string[] {
    return this.#tree.hostsOf(this.#number);
  }
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
  const runs = new LossRuns();
  for (const { receipt } of receipts) {
    const lost = lostOf(receipt, sent);
    const lostPackets = lost === receipt.lost ? receipt.lostPackets : countRanges(lost);
    if (lostPackets >= packets) continue;
    heard.push({ receipt, lost });
    runs.add(lost, lostPackets);
  }
  if (heard.length === 0) return [];
  const tree = new LogicalTree(facts.tree, heard);
  const { parents, lostBy } = tree;
  const rows = estimateLoss({ parents, lostBy, sent }, runs.factor(heard.length * packets));
  const dropped = tree.receipts.map((receipt) => (receipt === null ? null : droppedBy(receipt.listener)));
  takeOutHostDrops(rows, parents, dropped);
  const chains: ChainLoss[] = [];
  for (let number = 1; number < parents.length; number++) {
    const chain = new ChainLoss(facts, tree, number, rows);
    if (!chain.hidesLoss || chain.link.rawLossRatio > 0) chains.push(chain);
  }
  return chains;
}

/**
 * How much the variance of a count grows when losses come in runs like these: mean square over mean length, against what
 * independent losses of the same share would show. A link that lost nothing shows no bursts of its own, yet the next one
 * might last as long as those elsewhere.
 */
class LossRuns {
  #packets = 0;
  #squares = 0;

  /** Hot path. */
  add(lost: readonly SeqRange[], packets: number): void {
    this.#packets += packets;
    // Where every run is of one packet, the squares are the packets.
    if (lost.length === packets) {
      this.#squares += packets;
      return;
    }
    for (const [first, last] of lost) this.#squares += (last - first + 1) ** 2;
  }

  /** @param packets that all listeners should have */
  factor(packets: number): number {
    const lossRatio = this.#packets / packets;
    return this.#packets === 0 ? 1 : Math.max(1, (this.#squares / this.#packets) * ((1 - lossRatio) / (1 + lossRatio)));
  }
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
