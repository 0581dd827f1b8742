import type { FindingKind } from "@dyetrace/wire";

/** One row of a table of diagnoses: when it applies to a case, and what it then says. */
export interface DiagnosisRule<Case> {
  readonly kind: FindingKind;
  readonly when: (facts: Case) => boolean;
  /** One sentence with the place and the hosts in it. */
  readonly title: (facts: Case) => string;
  /** Evidence of its own, beside what every case of its family shows. */
  readonly evidence?: (facts: Case) => readonly string[];
  /** Places to name instead of the family's own, where the kind knows better. */
  readonly suspects?: (facts: Case) => readonly string[];
  readonly advice: string;
  readonly reference: string;
}

/** The first row that applies, null when none does. */
export function diagnose<Case>(rules: readonly DiagnosisRule<Case>[], facts: Case): DiagnosisRule<Case> | null {
  return rules.find((rule) => rule.when(facts)) ?? null;
}
