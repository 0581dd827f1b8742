import { countRanges, intersectRanges } from "@dyetrace/measure";
import type { SeqRange } from "../run/run-observations.ts";

/**
 * A logical tree: the source, the listeners, and every node with two or more branches towards listeners. The links
 * between them are what loss can be told apart for; a link's number is that of its lower end.
 */
export interface LossTree {
  /** Number of the node above, 0 for the source. Node 0 is the source itself (its own entry is 0); parents come first. */
  readonly parents: readonly number[];
  /** For a listener the numbers it lost, ascending and within the packets counted; null for the source and branches. */
  readonly lostBy: readonly (readonly SeqRange[] | null)[];
  /** Numbers sent, in ascending ranges: the same for every listener. */
  readonly sent: readonly SeqRange[];
}

/** The counts that the estimator needs; nothing else from the logs is (Caceres et al. 1999). */
export interface LossCounts {
  readonly packets: number;
  readonly parents: readonly number[];
  readonly children: readonly (readonly number[])[];
  /** Probability that at least one listener at or below the node received a packet; for the source 1. */
  readonly gammas: readonly number[];
  /** The same block by block, for the variance under bursts: `BLOCKS` values for each node in turn. */
  readonly blockGammas: Float64Array;
}

/** A run is cut into this many blocks, each much longer than a burst. Our choice: it held the intervals in our simulation. */
export const BLOCKS = 20;

export function countLosses(tree: LossTree): LossCounts {
  const packets = countRanges(tree.sent);
  const children: number[][] = tree.parents.map(() => []);
  for (let node = 1; node < tree.parents.length; node++) children[tree.parents[node] ?? 0]?.push(node);
  const blocks = blocksOf(tree.sent, packets);
  const gammas: number[] = tree.parents.map(() => 1);
  const blockGammas = new Float64Array(tree.parents.length * BLOCKS).fill(1);
  const lostBelow: (readonly SeqRange[])[] = tree.parents.map(() => []);
  for (let node = tree.parents.length - 1; node > 0; node--) {
    const lost = tree.lostBy[node] ?? lostByAll((children[node] ?? []).map((child) => lostBelow[child] ?? []));
    lostBelow[node] = lost;
    gammas[node] = 1 - countRanges(lost) / packets;
    takeBlockLosses(lost, blocks, blockGammas.subarray(node * BLOCKS, (node + 1) * BLOCKS));
    // Lists only shrink upwards: the children's are not needed any more.
    for (const child of children[node] ?? []) lostBelow[child] = [];
  }
  return { packets, parents: tree.parents, children, gammas, blockGammas };
}

/** Hot path: the numbers in every list. The shortest list first, so that the rest shrinks soonest. */
function lostByAll(lists: readonly (readonly SeqRange[])[]): readonly SeqRange[] {
  const [first = [], ...rest] = [...lists].sort((a, b) => a.length - b.length);
  let common: readonly SeqRange[] = first;
  for (const list of rest) {
    if (common.length === 0) break;
    common = intersectRanges(common, list);
  }
  return common;
}

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

/** Hot path: takes the lost share off every block's 1, in one pass over the ranges, each shared out over its blocks. */
function takeBlockLosses(lost: readonly SeqRange[], blocks: readonly Block[], gammas: Float64Array): void {
  let number = 0;
  for (const [first, last] of lost) {
    while (number < blocks.length && (blocks[number] as Block).last < first) number++;
    for (let at = number; at < blocks.length; at++) {
      const block = blocks[at] as Block;
      if (block.first > last) break;
      const packets = Math.min(last, block.last) - Math.max(first, block.first) + 1;
      gammas[at] = (gammas[at] as number) - packets / block.packets;
    }
  }
}
