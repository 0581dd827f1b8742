/**
 * What the variance needs to know of the branches at a node, however many there are. With c_j the share of the packets
 * at the node that somebody in branch j receives, and o_j the probability that all other branches miss one:
 * PRODUCT (1 - c_j), all branches miss a packet; SUM c_j o_j, exactly one gets it; SUM c_j o_j^2 less SUM (c_j o_j)^2.
 * Hot path, so plain loops.
 * @param shares the first `count` are the branches'; none: the node is a listener, or the link has none beside it
 * @param others as many numbers, to work with
 * @param sums the three sums go in here, from `at` on; NaN for no branch
 */
export function writeBranchSums(
  shares: Float64Array,
  count: number,
  others: Float64Array,
  sums: Float64Array,
  at: number,
): void {
  if (count === 0) {
    sums[at] = Number.NaN;
    sums[at + 1] = Number.NaN;
    sums[at + 2] = Number.NaN;
    return;
  }
  writeMissedByOthers(shares, count, others);
  let onlyOne = 0;
  let squared = 0;
  let squaredBoth = 0;
  let allMiss = 1;
  for (let i = 0; i < count; i++) {
    const share = shares[i] as number;
    const other = others[i] as number;
    onlyOne += share * other;
    squared += share * other * other;
    squaredBoth += (share * other) ** 2;
    allMiss *= 1 - share;
  }
  sums[at] = allMiss;
  sums[at + 1] = onlyOne;
  sums[at + 2] = squared - squaredBoth;
}

/** For every branch the probability that all others miss a packet, in linear time. */
export function writeMissedByOthers(shares: Float64Array, count: number, others: Float64Array): void {
  let product = 1;
  for (let i = 0; i < count; i++) {
    others[i] = product;
    product *= 1 - (shares[i] as number);
  }
  product = 1;
  for (let i = count - 1; i >= 0; i--) {
    others[i] = (others[i] as number) * product;
    product *= 1 - (shares[i] as number);
  }
}
