/**
 * What the variance needs to know of the branches at a node, however many there are. With c_j the share of the packets
 * at the node that somebody in branch j receives, and o_j the probability that all other branches miss one:
 */
export interface BranchSums {
  /** PRODUCT (1 - c_j): all branches miss a packet. */
  readonly allMiss: number;
  /** SUM c_j o_j: exactly one branch gets it. */
  readonly onlyOne: number;
  /** SUM c_j o_j^2 and SUM (c_j o_j)^2. */
  readonly squared: number;
  readonly squaredBoth: number;
}

/** Hot path, so plain loops. @returns null for no branch: the node is a listener, or the link has none beside it */
export function branchSums(shares: readonly number[]): BranchSums | null {
  if (shares.length === 0) return null;
  const others = missedByOthers(shares);
  let onlyOne = 0;
  let squared = 0;
  let squaredBoth = 0;
  let allMiss = 1;
  for (let i = 0; i < shares.length; i++) {
    const share = shares[i] as number;
    const other = others[i] as number;
    onlyOne += share * other;
    squared += share * other * other;
    squaredBoth += (share * other) ** 2;
    allMiss *= 1 - share;
  }
  return { allMiss, onlyOne, squared, squaredBoth };
}

/** For every branch the probability that all others miss a packet, in linear time. */
export function missedByOthers(shares: readonly number[]): number[] {
  const others: number[] = [];
  let product = 1;
  for (let i = 0; i < shares.length; i++) {
    others.push(product);
    product *= 1 - (shares[i] as number);
  }
  product = 1;
  for (let i = shares.length - 1; i >= 0; i--) {
    others[i] = (others[i] as number) * product;
    product *= 1 - (shares[i] as number);
  }
  return others;
}
