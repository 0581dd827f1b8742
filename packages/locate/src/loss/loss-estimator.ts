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
 */
export function estimateLoss(tree: LossTree): (LinkEstimate | null)[] {
  const counts = countLosses(tree);
  const fit = new TreeFit(counts);
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

/** How far above 1 a link's pass rate must come out before that is more than rounding. */
const ROUNDING = 1e-12;

/** Pass rates from the source to every node, for a tree from which links are taken out one by one. */
class TreeFit {
  readonly #counts: LossCounts;
  readonly #parents: number[];
  readonly #children: number[][];
  readonly #passRates: number[];
  readonly #isContracted: boolean[];
  readonly #blockLogsOf = new Map<number, Float64Array>();

  constructor(counts: LossCounts) {
    this.#counts = counts;
    this.#parents = [...counts.parents];
    this.#children = counts.children.map((list) => [...list]);
    this.#isContracted = counts.parents.map(() => false);
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
    this.#blockLogsOf.delete(parent);
    if (parent !== 0) this.#passRates[parent] = this.#solve(parent);
  }

  estimate(node: number): LinkEstimate {
    const parent = this.#parent(node);
    const above = Math.min(1, this.#passRate(parent));
    // Where no packet was seen on two branches nothing speaks against a link without loss.
    const passRate = Number.isFinite(this.#passRate(node)) ? this.#passRate(node) : above;
    const besides = (this.#children[parent] ?? []).filter((child) => child !== node);
    const link: LinkEstimate = {
      rawLossRatio: 1 - passRate / above,
      packets: this.#counts.packets,
      passAbove: above,
      below: branchSums(this.#shares(this.#children[node] ?? [], passRate)),
      beside: parent === 0 ? null : branchSums(this.#shares(besides, above)),
      burstFactor: 1,
    };
    const variance = variancePerPacket(link, Math.min(1, passRate / above)) / this.#counts.packets;
    return { ...link, burstFactor: burstFactorOf(this.#blockValues(node, parent), variance) };
  }

  #shares(branches: readonly number[], passRate: number): number[] {
    return branches.map((branch) => Math.min(1, this.#gamma(branch) / passRate));
  }

  /** ln alpha of the link, linearised in the gammas and evaluated block by block (up to a constant). */
  #blockValues(node: number, parent: number): Float64Array {
    const own = this.#blockLogs(node);
    if (parent === 0) return own;
    const above = this.#blockLogs(parent);
    return own.map((value, block) => value - (above[block] ?? 0));
  }

  /** The same of ln A. Its gradient is 1/D for the node itself and -o_j/D for its branches; for a listener 1/gamma. */
  #blockLogs(node: number): Float64Array {
    const known = this.#blockLogsOf.get(node);
    if (known !== undefined) return known;
    const values = new Float64Array(BLOCKS);
    const add = (of: number, gradient: number): void => {
      const gammas = this.#counts.blockGammas[of];
      for (let block = 0; block < BLOCKS; block++) {
        values[block] = (values[block] ?? 0) + gradient * (gammas?.[block] ?? 1);
      }
    };
    const branches = this.#children[node] ?? [];
    const others = missedByOthers(this.#shares(branches, this.#passRate(node)));
    const slope = branches.reduce(
      (rest, branch, i) => rest - this.#gamma(branch) * (others[i] ?? 0),
      this.#gamma(node),
    );
    if (slope > 0 && Number.isFinite(this.#passRate(node))) {
      add(node, 1 / slope);
      for (const [i, branch] of branches.entries()) add(branch, -(others[i] ?? 0) / slope);
    }
    this.#blockLogsOf.set(node, values);
    return values;
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
