import { FINDING_KINDS } from "@dyetrace/wire";
import type { Finding } from "../finding/finding.ts";
import type { Accused } from "./supposition.ts";

/**
 * How many faults and contradictions it takes for findings to be true. Findings that have a suspect in common may be one
 * fault: by the greedy rule, which is near enough to the least. Loss is no question here: links lose on their own, and with
 * one listener less several losses look like one.
 */
export function faultsNeeded(findings: readonly Finding[]): number {
  let open = findings.filter(({ kind, suspects }) => suspects.length > 0 && FINDING_KINDS[kind].glyph !== "thin");
  let faults = findings.reduce(
    (sum, { suspects, contradictions }) => sum + contradictionsOf(suspects, contradictions),
    0,
  );
  while (open.length > 0) {
    const times = new Map<string, number>();
    for (const { suspects } of open) for (const one of suspects) times.set(one, (times.get(one) ?? 0) + 1);
    const [commonest] = [...times].reduce((best, one) => (one[1] > best[1] ? one : best));
    open = open.filter(({ suspects }) => !suspects.includes(commonest));
    faults++;
  }
  return faults;
}

/** A finding without a suspect says that what was seen contradicts itself. */
const contradictionsOf = (suspects: readonly string[], contradictions: number | undefined): number =>
  contradictions ?? (suspects.length === 0 ? 1 : 0);

/** The same of all that is found; where it is over `most` anyway, what it is without the losses. */
export function faultsUpTo(most: number, found: Accused): number {
  const withoutLosses = faultsNeeded(found.faults);
  return withoutLosses > most ? withoutLosses : faultsNeeded(found.findings);
}
