import { countRanges, intersectRanges } from "@dyetrace/measure";
import type { SeqRange } from "../run/run-observations.ts";

/**
 * A logical tree: the source, the listeners, and every node with two or more branches towards listeners. The links
 * between them are what loss can be told apart for; a link's number is that of its lower end.
 */
export interface LossTree {
  /** Number of the node above, 0 for the source. Node 0 is the source itself (its own entry is 0); parents come first. */
  readonly parents: ArrayLike<number>;
  /** For a listener the numbers it lost, ascending and within the packets counted; null for the source and branches. */
  readonly lostBy: readonly (readonly SeqRange[] | null)[];
  /** Numbers sent, in ascending ranges: the same for every listener. */
  readonly sent: readonly SeqRange[];
}

/** The counts that the estimator needs; nothing else from the logs is (Caceres et al. 1999). */
export interface LossCounts {
  readonly packets: number;
  readonly parents: ArrayLike<number>;
  readonly children: readonly (readonly number[])[];
  /** Probability that at least one listener at or below the node received a packet; for the source 1. */
  readonly gammas: Float64Array;
  /** The same block by block, for the variance under bursts: `BLOCKS` values for each node in turn. */
  readonly blockGammas: Float64Array;
}

/** A run is cut into this many blocks, each much longer than a burst. Our choice: it held the intervals in our simulation. */
export const BLOCKS = 20;

export function countLosses(tree: LossTree): LossCounts {
  const nodes = tree.parents.length;
  const packets = countRanges(tree.sent);
  const children = childrenOf(tree.parents);
  const blocks = blocksOf(tree.sent, packets);
  const gammas = new Float64Array(nodes).fill(1);
  const blockGammas = new Float64Array(nodes * BLOCKS).fill(1);
  const lostBelow: (readonly SeqRange[])[] = new Array(nodes).fill(NONE);
  for (let node = nodes - 1; node > 0; node--) {
    const branches = children[node] as readonly number[];
    const lost = tree.lostBy[node] ?? lostByAll(branches, lostBelow);
    lostBelow[node] = lost;
    gammas[node] = 1 - takeLosses(lost, blocks, blockGammas, node * BLOCKS) / packets;
    // Lists only shrink upwards: the children's are not needed any more.
    for (let i = 0; i < branches.length; i++) lostBelow[branches[i] as number] = NONE;
  }
  return { packets, parents: tree.parents, children, gammas, blockGammas };
}

const NONE: readonly never[] = [];

/** By the number of the node; most are listeners and have none. */
function childrenOf(parents: ArrayLike<number>): (readonly number[])[] {
  const children: number[][] = new Array(parents.length).fill(NONE);
  for (let node = 1; node < parents.length; node++) {
    const parent = parents[node] ?? 0;
    const known = children[parent] as number[];
    if (known.length === 0) children[parent] = [node];
    else known.push(node);
  }
  return children;
}

/** Hot path: the numbers in every branch's list. The shortest list first, so that the rest shrinks soonest. */
function lostByAll(branches: readonly number[], lostBelow: readonly (readonly SeqRange[])[]): readonly SeqRange[] {
  let shortest = branches[0] ?? 0;
  for (const branch of branches) {
    if (lengthAt(lostBelow, branch) < lengthAt(lostBelow, shortest)) shortest = branch;
  }
  let common = lostBelow[shortest] ?? NONE;
  for (let i = 0; i < branches.length && common.length > 0; i++) {
    if (branches[i] !== shortest) common = intersectRanges(common, lostBelow[branches[i] as number] ?? NONE);
  }
  return common;
}

const lengthAt = (lists: readonly (readonly SeqRange[])[], node: number): number => lists[node]?.length ?? 0;

interface Block extends SeqBlock {
  readonly packets: number;
}

interface SeqBlock {
  readonly first: number;
  readonly last: number;
}

/** Stretches of numbers with about the same count of sent packets each. */
function blocksOf(sent: readonly SeqRange[], packets: number): Block[] {
  const blocks: Block[] = [];
  let first = sent[0]?.[0] ?? 0;
  let passed = 0;
  let open = 0;
  for (const [from, to] of sent) {
    for (let at = from; at <= to; ) {
      const target = Math.round(((blocks.length + 1) * packets) / BLOCKS);
      const take = Math.min(to - at + 1, target - passed);
      passed += take;
      open += take;
      at += take;
      if (passed < target) continue;
      blocks.push({ first, last: at - 1, packets: open });
      first = at;
      open = 0;
      if (blocks.length === BLOCKS) return blocks;
    }
  }
  return blocks;
}

/**
 * Hot path: takes the lost share off every block's 1, in one pass over the ranges, each shared out over its blocks.
 * @param at where the blocks of this list begin
 * @returns how many packets the list holds
 */
function takeLosses(lost: readonly SeqRange[], blocks: readonly Block[], gammas: Float64Array, at: number): number {
  let lostPackets = 0;
  let number = 0;
  for (let i = 0; i < lost.length; i++) {
    const range = lost[i] as SeqRange;
    const first = range[0];
    const last = range[1];
    lostPackets += last - first + 1;
    while (number < blocks.length && (blocks[number] as Block).last < first) number++;
    for (let open = number; open < blocks.length; open++) {
      const block = blocks[open] as Block;
      if (block.first > last) break;
      const packets = Math.min(last, block.last) - Math.max(first, block.first) + 1;
      gammas[at + open] = (gammas[at + open] as number) - packets / block.packets;
    }
  }
  return lostPackets;
}
