import type { NamedFailure } from "./failure-set.ts";

/** Chance of a fault in any one element, for weighing one fault against several that would explain the same. Our estimate, no source. */
const FAULT_CHANCE = 0.02;
/** What is left of the confidence when the search for the smallest explanation was cut short. Our estimate, no source. */
const INEXACT_FACTOR = 0.7;

/**
 * Probability that the true cause is among a failure's elements: one fault against as many others as would explain the
 * same silence.
 * @param base where nothing else explains it
 */
export function explanationConfidence(
  base: number,
  { faultsOtherwise }: Pick<NamedFailure, "faultsOtherwise">,
  isExact: boolean,
): number {
  const oddsOtherwise = faultsOtherwise === null ? 0 : FAULT_CHANCE ** (faultsOtherwise - 1);
  return (base / (1 + oddsOtherwise)) * (isExact ? 1 : INEXACT_FACTOR);
}
