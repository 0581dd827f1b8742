import { branchSums, missedByOthers } from "./branch-sums.ts";
import { burstFactorOf, type LinkEstimate, variancePerPacket } from "./link-estimate.ts";
import { BLOCKS, countLosses, type LossCounts, type LossTree } from "./loss-tree.ts";

/**
 * Loss of every logical link of one stream's tree, by the number of its lower end (the entry of the source is null).
 * The estimator of R. Caceres, N. Duffield, J. Horowitz, D. Towsley, "Multicast-based inference of network-internal loss
 * characteristics", IEEE Trans. IT 45(7), 1999. Losses are taken as independent between links; bursts in time widen the
 * interval.
 *
 * Every listener must have received something: a subtree without receipts is a stop, not a loss.
 * @param leastBurstFactor variance inflation for links with few bursts of their own, from all losses' runs
 */
export function estimateLoss(tree: LossTree, leastBurstFactor = 1): (LinkEstimate | null)[] {
  const counts = countLosses(tree);
  const fit = new TreeFit(counts, leastBurstFactor);
  const estimates: (LinkEstimate | null)[] = counts.parents.map(() => null);
  // A link that seems to let through more than it got lost nothing: it is contracted, the worst first, and the rest
  // fitted anew. Its interval is still drawn around the raw value.
  for (let worst = fit.worstLink(); worst !== null; worst = fit.worstLink()) {
    estimates[worst] = fit.estimate(worst);
    fit.contract(worst);
  }
  for (let node = 1; node < counts.parents.length; node++) estimates[node] ??= fit.estimate(node);
  return estimates;
}

/** From this many bursts on, the spread over the blocks is a fair estimate: so it came out in our own simulation. */
const TELLING_BURSTS = 20;

/** How far above 1 a link's pass rate must come out before that is more than rounding. */
const ROUNDING = 1e-12;

/** Pass rates from the source to every node, for a tree from which links are taken out one by one. */
class TreeFit {
  readonly #counts: LossCounts;
  readonly #leastBurstFactor: number;
  readonly #parents: number[];
  readonly #children: number[][];
  readonly #passRates: number[];
  readonly #isContracted: boolean[];
  readonly #blockLogs: Float64Array;
  readonly #hasBlockLogs: Uint8Array;
  readonly #values = new Float64Array(BLOCKS);

  constructor(counts: LossCounts, leastBurstFactor: number) {
    this.#counts = counts;
    this.#leastBurstFactor = leastBurstFactor;
    this.#parents = [...counts.parents];
    this.#children = counts.children.map((list) => [...list]);
    this.#isContracted = counts.parents.map(() => false);
    this.#blockLogs = new Float64Array(counts.parents.length * BLOCKS);
    this.#hasBlockLogs = new Uint8Array(counts.parents.length);
    this.#passRates = counts.parents.map((_, node) => (node === 0 ? 1 : this.#solve(node)));
  }

  /** The link whose pass rate most exceeds 1. */
  worstLink(): number | null {
    let worst: number | null = null;
    let excess = 1 + ROUNDING;
    for (let node = 1; node < this.#parents.length; node++) {
      if (this.#isContracted[node]) continue;
      const ratio = this.#passRate(node) / this.#passRate(this.#parent(node));
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
    const branches = this.#children[node] ?? [];
    for (const branch of branches) this.#parents[branch] = parent;
    this.#children[parent] = (this.#children[parent] ?? []).filter((child) => child !== node).concat(branches);
    this.#isContracted[node] = true;
    this.#hasBlockLogs[parent] = 0;
    if (parent !== 0) this.#passRates[parent] = this.#solve(parent);
  }

  /** Hot path: one call for every link of every stream. */
  estimate(node: number): LinkEstimate {
    const parent = this.#parent(node);
    const above = Math.min(1, this.#passRate(parent));
    // Where no packet was seen on two branches nothing speaks against a link without loss.
    const passRate = Number.isFinite(this.#passRate(node)) ? this.#passRate(node) : above;
    const rawLossRatio = 1 - passRate / above;
    const packets = this.#counts.packets;
    const below = branchSums(this.#shares(this.#children[node] ?? [], passRate, -1));
    const beside = parent === 0 ? null : branchSums(this.#shares(this.#children[parent] ?? [], above, node));
    const plain = { rawLossRatio, packets, passAbove: above, below, beside, burstFactor: 1 };
    const variance = variancePerPacket(plain, Math.min(1, passRate / above)) / packets;
    const own = burstFactorOf(this.#blockValues(node, parent), variance);
    // Of many bursts the blocks tell by themselves; of few or none they cannot.
    const lostPackets = Math.max(0, rawLossRatio) * above * packets;
    const isTelling = lostPackets >= TELLING_BURSTS * this.#leastBurstFactor;
    plain.burstFactor = isTelling ? own : Math.max(this.#leastBurstFactor, own);
    return plain;
  }

  #shares(branches: readonly number[], passRate: number, without: number): number[] {
    const shares: number[] = [];
    for (const branch of branches) if (branch !== without) shares.push(Math.min(1, this.#gamma(branch) / passRate));
    return shares;
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
    const branches = this.#children[node] ?? [];
    const others = missedByOthers(this.#shares(branches, this.#passRate(node), -1));
    const slope = branches.reduce(
      (rest, branch, i) => rest - this.#gamma(branch) * (others[i] ?? 0),
      this.#gamma(node),
    );
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
    const branches = (this.#children[node] ?? []).map((child) => this.#gamma(child));
    if (branches.length === 0) return gamma;
    const excess = branches.reduce((sum, g) => sum + g, 0) - gamma;
    if (excess <= ROUNDING) return Number.POSITIVE_INFINITY;
    const isBelowRoot = (u: number): boolean =>
      1 - gamma * u - branches.reduce((product, g) => product * (1 - g * u), 1) > 0;
    let low = 0;
    let high = 1 / gamma;
    for (let halvings = 0; halvings < 100 && low < high; halvings++) {
      const middle = (low + high) / 2;
      if (middle === low || middle === high) break;
      if (isBelowRoot(middle)) low = middle;
      else high = middle;
    }
    return 1 / high;
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
