import { writeBranchSums, writeMissedByOthers } from "./branch-sums.ts";
import { burstFactorOf } from "./burst-factor.ts";
import {
  BELOW,
  BESIDE,
  BURST_FACTOR,
  COLUMNS,
  MEET_ABOVE,
  PACKETS,
  PASS_ABOVE,
  RAW_LOSS_RATIO,
  writeVariances,
} from "./link-estimate.ts";
import { BLOCKS, countLosses, type LossCounts, type LossTree } from "./loss-tree.ts";

/**
 * Loss of every logical link of one stream's tree: a row of `LinkEstimate` for each, by the number of its lower end (the
 * source has none, and its row is empty).
 * The estimator of R. Caceres, N. Duffield, J. Horowitz, D. Towsley, "Multicast-based inference of network-internal loss
 * characteristics", IEEE Trans. IT 45(7), 1999. Losses are taken as independent between links; bursts in time widen the
 * interval.
 *
 * Every listener must have received something: a subtree without receipts is a stop, not a loss.
 * @param leastBurstFactor variance inflation for links with few bursts of their own, from all losses' runs
 */
export function estimateLoss(tree: LossTree, leastBurstFactor = 1): Float64Array {
  const counts = countLosses(tree);
  const nodes = counts.parents.length;
  const fit = new TreeFit(counts, leastBurstFactor);
  const rows = new Float64Array(nodes * COLUMNS);
  const isEstimated = new Uint8Array(nodes);
  // A link that seems to let through more than it got lost nothing: it is contracted, the worst first, and the rest
  // fitted anew. Its interval is still drawn around the raw value.
  for (let worst = fit.worstLink(); worst !== null; worst = fit.worstLink()) {
    fit.estimate(worst, rows);
    isEstimated[worst] = 1;
    fit.contract(worst);
  }
  for (let node = 1; node < nodes; node++) if (isEstimated[node] === 0) fit.estimate(node, rows);
  return rows;
}

/** From this many bursts on, the spread over the blocks is a fair estimate: so it came out in our own simulation. */
const TELLING_BURSTS = 20;

/** How far above 1 a link's pass rate must come out before that is more than rounding. */
const ROUNDING = 1e-12;

/** Pass rates from the source to every node, for a tree from which links are taken out one by one. */
class TreeFit {
  readonly #counts: LossCounts;
  readonly #leastBurstFactor: number;
  readonly #parents: Int32Array;
  readonly #children: (readonly number[])[];
  readonly #passRates: Float64Array;
  /** Pass rate of each link, 0 for those taken out. */
  readonly #ratios: Float64Array;
  readonly #isContracted: Uint8Array;
  readonly #blockLogs: Float64Array;
  readonly #hasBlockLogs: Uint8Array;
  readonly #values = new Float64Array(BLOCKS);
  readonly #variance = new Float64Array(1);
  /** To work with: a number for each branch of a node. */
  readonly #shares: Float64Array;
  readonly #others: Float64Array;

  constructor(counts: LossCounts, leastBurstFactor: number) {
    const nodes = counts.parents.length;
    this.#counts = counts;
    this.#leastBurstFactor = leastBurstFactor;
    this.#parents = Int32Array.from(counts.parents);
    this.#children = [...counts.children];
    this.#isContracted = new Uint8Array(nodes);
    this.#blockLogs = new Float64Array(nodes * BLOCKS);
    this.#hasBlockLogs = new Uint8Array(nodes);
    this.#shares = new Float64Array(nodes);
    this.#others = new Float64Array(nodes);
    this.#passRates = new Float64Array(nodes).fill(1);
    for (let node = 1; node < nodes; node++) this.#passRates[node] = this.#solve(node);
    this.#ratios = new Float64Array(nodes);
    for (let node = 1; node < nodes; node++) this.#setRatio(node);
  }

  /** The link whose pass rate most exceeds 1. Hot path. */
  worstLink(): number | null {
    const ratios = this.#ratios;
    let worst: number | null = null;
    let excess = 1 + ROUNDING;
    for (let node = 1; node < ratios.length; node++) {
      const ratio = ratios[node] as number;
      if (ratio > excess) {
        worst = node;
        excess = ratio;
      }
    }
    return worst;
  }

  /** Takes the link out: its lower end's branches now hang on its upper end. */
  contract(node: number): void {
    const parent = this.#parent(node);
    const branches = this.#branchesOf(node);
    for (const branch of branches) this.#parents[branch] = parent;
    const together = this.#branchesOf(parent)
      .filter((child) => child !== node)
      .concat(branches);
    this.#children[parent] = together;
    this.#isContracted[node] = 1;
    this.#ratios[node] = 0;
    this.#hasBlockLogs[parent] = 0;
    if (parent !== 0) {
      this.#passRates[parent] = this.#solve(parent);
      this.#setRatio(parent);
    }
    for (const branch of together) this.#setRatio(branch);
  }

  #setRatio(node: number): void {
    if (this.#isContracted[node] === 0) this.#ratios[node] = this.#passRate(node) / this.#passRate(this.#parent(node));
  }

  /** Hot path: one call for every link of every stream. @param rows where the link's row is written */
  estimate(node: number, rows: Float64Array): void {
    const at = node * COLUMNS;
    const parent = this.#parent(node);
    const above = Math.min(1, this.#passRate(parent));
    // Where no packet was seen on two branches nothing speaks against a link without loss.
    const passRate = Number.isFinite(this.#passRate(node)) ? this.#passRate(node) : above;
    const rawLossRatio = 1 - passRate / above;
    const packets = this.#counts.packets;
    rows[at + RAW_LOSS_RATIO] = rawLossRatio;
    rows[at + PACKETS] = packets;
    rows[at + PASS_ABOVE] = above;
    rows[at + MEET_ABOVE] = 1 / above - 1;
    const below = this.#takeShares(this.#branchesOf(node), passRate, -1);
    writeBranchSums(this.#shares, below, this.#others, rows, at + BELOW);
    const beside = parent === 0 ? 0 : this.#takeShares(this.#branchesOf(parent), above, node);
    writeBranchSums(this.#shares, beside, this.#others, rows, at + BESIDE);
    writeVariances(rows, at, Math.min(1, passRate / above), this.#variance);
    const own = burstFactorOf(this.#blockValues(node, parent), (this.#variance[0] as number) / packets);
    // Of many bursts the blocks tell by themselves; of few or none they cannot.
    const lostPackets = Math.max(0, rawLossRatio) * above * packets;
    const isTelling = lostPackets >= TELLING_BURSTS * this.#leastBurstFactor;
    rows[at + BURST_FACTOR] = isTelling ? own : Math.max(this.#leastBurstFactor, own);
  }

  /** Of all branches but one. @returns how many */
  #takeShares(branches: readonly number[], passRate: number, without: number): number {
    let count = 0;
    for (let i = 0; i < branches.length; i++) {
      const branch = branches[i] as number;
      if (branch !== without) this.#shares[count++] = Math.min(1, this.#gamma(branch) / passRate);
    }
    return count;
  }

  /** ln alpha of the link, linearised in the gammas and evaluated block by block (up to a constant). */
  #blockValues(node: number, parent: number): Float64Array {
    this.#fillBlockLogs(node);
    this.#fillBlockLogs(parent);
    const values = this.#values;
    for (let block = 0; block < BLOCKS; block++) {
      const own = this.#blockLogs[node * BLOCKS + block] as number;
      values[block] = own - (this.#blockLogs[parent * BLOCKS + block] as number);
    }
    return values;
  }

  /**
   * The same of ln A. Its gradient is 1/D for the node itself and -o_j/D for its branches; for a listener 1/gamma. Zero
   * for the source, whose A is known, and where A is infinite.
   */
  #fillBlockLogs(node: number): void {
    if (this.#hasBlockLogs[node] === 1 || node === 0 || !Number.isFinite(this.#passRate(node))) return;
    this.#hasBlockLogs[node] = 1;
    const branches = this.#branchesOf(node);
    const others = this.#others;
    writeMissedByOthers(this.#shares, this.#takeShares(branches, this.#passRate(node), -1), others);
    let slope = this.#gamma(node);
    for (let i = 0; i < branches.length; i++) slope -= this.#gamma(branches[i] as number) * (others[i] as number);
    if (slope <= 0) return;
    const logs = this.#blockLogs;
    const gammas = this.#counts.blockGammas;
    for (let block = 0; block < BLOCKS; block++) {
      let value = gammas[node * BLOCKS + block] as number;
      for (let i = 0; i < branches.length; i++) {
        value -= (others[i] as number) * (gammas[(branches[i] as number) * BLOCKS + block] as number);
      }
      logs[node * BLOCKS + block] = value / slope;
    }
  }

  /**
   * A_k from 1 - gamma_k/A = PRODUCT (1 - gamma_j/A). With u = 1/A the difference of the two sides is concave and 0 at
   * u = 0, so there is exactly one root in (0, 1/gamma_k] if the gammas of the branches add up to more than gamma_k.
   * If they don't, no packet was seen on two branches: A is infinite, and the link will be contracted.
   */
  #solve(node: number): number {
    const gamma = this.#gamma(node);
    const children = this.#branchesOf(node);
    const count = children.length;
    if (count === 0) return gamma;
    const branches = this.#shares;
    let sum = 0;
    for (let i = 0; i < count; i++) {
      branches[i] = this.#gamma(children[i] as number);
      sum += branches[i] as number;
    }
    if (sum - gamma <= ROUNDING) return Number.POSITIVE_INFINITY;
    let low = 0;
    let high = 1 / gamma;
    for (let halvings = 0; halvings < 100 && low < high; halvings++) {
      const middle = (low + high) / 2;
      if (middle === low || middle === high) break;
      let allMiss = 1;
      for (let i = 0; i < count; i++) allMiss *= 1 - (branches[i] as number) * middle;
      if (1 - gamma * middle - allMiss > 0) low = middle;
      else high = middle;
    }
    return 1 / high;
  }

  #branchesOf(node: number): readonly number[] {
    return this.#children[node] ?? [];
  }

  #gamma(node: number): number {
    return this.#counts.gammas[node] ?? 1;
  }

  #parent(node: number): number {
    return this.#parents[node] ?? 0;
  }

  #passRate(node: number): number {
    return this.#passRates[node] ?? 1;
  }
}
