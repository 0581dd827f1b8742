import type { PlacedReceipt } from "../run/clean-receipt.ts";
import type { SeqRange } from "../run/run-observations.ts";
import type { SourceTree } from "../site/source-tree.ts";

/** A listener whose losses count, and which they are. */
export interface Heard {
  readonly receipt: PlacedReceipt;
  readonly lost: readonly SeqRange[];
}

/**
 * A source's tree with every chain without a branch as one link, by the number of its lower end: the source is 0, then every
 * node with two or more branches towards listeners, and every listener; parents come first. One array for each thing that
 * is known of them, since a large run has more than 100,000.
 */
export class LogicalTree {
  readonly parents: Int32Array;
  /** For a listener the numbers it lost. */
  readonly lostBy: readonly (readonly SeqRange[] | null)[];
  /** Set for a listener. */
  readonly receipts: readonly (PlacedReceipt | null)[];
  readonly #tree: SourceTree;
  /** Numbers in the site index. */
  readonly #nodes: Int32Array;
  #hosts: ReadonlyMap<number, readonly string[]> | null = null;

  constructor(tree: SourceTree, heard: readonly Heard[]) {
    this.#tree = tree;
    const heardAt = new Int32Array(tree.parent.length).fill(-1);
    for (let i = 0; i < heard.length; i++) heardAt[(heard[i] as Heard).receipt.node] = i;
    const branches = branchCounts(tree, heardAt);
    const most = 2 * heard.length + 1;
    const parents = new Int32Array(most);
    const nodes = new Int32Array(most);
    const lostBy: (readonly SeqRange[] | null)[] = [null];
    const receipts: (PlacedReceipt | null)[] = [null];
    nodes[0] = tree.source;
    const add = (parent: number, node: number, one: Heard | null): number => {
      const number = lostBy.length;
      parents[number] = parent;
      nodes[number] = node;
      lostBy.push(one === null ? null : one.lost);
      receipts.push(one === null ? null : one.receipt);
      return number;
    };
    // For every node on the tree the logical node at or above it.
    const reached = new Int32Array(tree.parent.length).fill(-1);
    reached[tree.source] = 0;
    for (const node of tree.order) {
      if (node === tree.source || branches[node] === 0) continue;
      const above = reached[tree.parent[node] as number] as number;
      const own = heardAt[node] === -1 ? null : (heard[heardAt[node] as number] as Heard);
      if ((branches[node] as number) > 1) {
        reached[node] = add(above, node, null);
        if (own !== null) add(reached[node] as number, node, own);
      } else {
        if (own !== null) add(above, node, own);
        reached[node] = above;
      }
    }
    this.parents = parents.subarray(0, lostBy.length);
    this.#nodes = nodes;
    this.lostBy = lostBy;
    this.receipts = receipts;
  }

  /** Segment numbers from the source downwards; empty for an agent on a node that itself has branches. */
  segmentsOf(number: number): number[] {
    const { into, parent } = this.#tree;
    const top = this.#nodes[this.parents[number] as number] as number;
    const bottom = this.#nodes[number] as number;
    if (parent[bottom] === top) return [into[bottom] as number];
    const segments: number[] = [];
    for (let at = bottom; at !== top; at = parent[at] as number) segments.push(into[at] as number);
    return segments.reverse();
  }

  /** Listeners at or below the lower end. */
  hostsOf(number: number): readonly string[] {
    const receipt = this.receipts[number];
    if (receipt != null) return [receipt.listener.host];
    this.#hosts ??= hostsBelow(this.#tree, this.receipts);
    return this.#hosts.get(this.#nodes[number] as number) ?? [];
  }
}

/** For every node how many ways towards listeners it has, itself among them; 0 for one that leads to none. */
function branchCounts(tree: SourceTree, heardAt: Int32Array): Int32Array {
  const branches = new Int32Array(tree.parent.length);
  for (let at = tree.order.length - 1; at > 0; at--) {
    const node = tree.order[at] as number;
    const own = heardAt[node] === -1 ? 0 : 1;
    branches[node] = (branches[node] as number) + own;
    if (branches[node] === 0) continue;
    const parent = tree.parent[node] as number;
    branches[parent] = (branches[parent] as number) + 1;
  }
  return branches;
}

/** Of every node that leads to listeners, the node's own first. */
function hostsBelow(
  tree: SourceTree,
  receipts: readonly (PlacedReceipt | null)[],
): ReadonlyMap<number, readonly string[]> {
  const ownOf = new Map<number, string>();
  for (const receipt of receipts) if (receipt !== null) ownOf.set(receipt.node, receipt.listener.host);
  const below = new Map<number, string[]>();
  for (let at = tree.order.length - 1; at >= 0; at--) {
    const node = tree.order[at] as number;
    const own = ownOf.get(node);
    const hosts = below.get(node) ?? [];
    if (own !== undefined) hosts.unshift(own);
    if (hosts.length === 0) continue;
    below.set(node, hosts);
    const parent = tree.parent[node] ?? -1;
    if (parent === -1) continue;
    const together = below.get(parent) ?? [];
    below.set(parent, together);
    for (const host of hosts) together.push(host);
  }
  return below;
}
