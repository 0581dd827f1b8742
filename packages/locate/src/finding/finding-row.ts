import { FINDING_KINDS, type FindingKind } from "@dyetrace/wire";
import { once } from "../run/once.ts";
import type { Finding, FindingCauses } from "./finding.ts";

/**
 * One row of a table of findings. `match` decides and hands on the facts; all that the finding says is said from them.
 * Rows stand from the most particular to the plain one: the first that matches speaks.
 */
export interface FindingRow<Case, Facts extends Case> {
  readonly kind: FindingKind;
  /** The case, with what makes it one of this kind; null where it is none. */
  readonly match: (one: Case) => Facts | null;
  /** One sentence with the place and the hosts in it. */
  readonly title: (facts: Facts) => string;
  /** Shown before what every finding of the family shows. */
  readonly evidence?: (facts: Facts) => readonly string[];
  /** Absent: the family's. */
  readonly suspects?: (facts: Facts) => readonly string[];
  /** Where it is surer or less sure than the table of kinds says. */
  readonly confidence?: (facts: Facts) => number;
  readonly advice: string | ((facts: Facts) => string);
  readonly reference: string;
}

/** What the findings about one sort of case have in common. */
export interface FindingFamily<Case> {
  readonly streams: (one: Case) => readonly string[];
  /** Most likely first. */
  readonly suspects: (one: Case) => readonly string[];
  readonly evidence?: (one: Case, suspects: readonly string[]) => readonly string[];
  /** What doubts that have nothing to do with the kind leave of the row's confidence. */
  readonly confidence?: (one: Case, ofRow: number) => number;
  /** Hosts whose reports show it. */
  readonly witnesses?: (one: Case) => readonly string[];
  readonly contradictions?: (one: Case) => number;
  /** Said instead of the row's advice, where not null. */
  readonly advice?: (one: Case) => string | null;
  /** Null where the finding's kind is of no use to a probe. */
  readonly causes?: (one: Case, suspects: readonly string[], kind: FindingKind) => FindingCauses | null;
}

/** What a row has become: a case goes in, and its finding comes out, or null where the row does not match. */
export type FindingRule<Case> = (one: Case) => Finding | null;

/** @returns for writing the rows of one family */
export function rowsOf<Case>(
  family: FindingFamily<Case>,
): <Facts extends Case>(row: FindingRow<Case, Facts>) => FindingRule<Case> {
  return (row) => (one) => {
    const facts = row.match(one);
    return facts === null ? null : makeFinding(family, row, facts);
  };
}

function makeFinding<Case, Facts extends Case>(
  family: FindingFamily<Case>,
  row: FindingRow<Case, Facts>,
  facts: Facts,
): Finding {
  const suspects = [...new Set(row.suspects?.(facts) ?? family.suspects(facts))];
  const ofRow = row.confidence?.(facts) ?? FINDING_KINDS[row.kind].confidence;
  const confidence = family.confidence?.(facts, ofRow) ?? ofRow;
  const causes = family.causes?.(facts, suspects, row.kind) ?? null;
  // Of most findings, those under suppositions, nobody reads the words.
  const title = once(() => row.title(facts));
  const evidence = once(() => [...(row.evidence?.(facts) ?? []), ...(family.evidence?.(facts, suspects) ?? [])]);
  const advice = once(
    () => family.advice?.(facts) ?? (typeof row.advice === "string" ? row.advice : row.advice(facts)),
  );
  return {
    kind: row.kind,
    streams: family.streams(facts),
    suspects,
    confidence: Math.round(confidence * 100) / 100,
    get title() {
      return title();
    },
    get evidence() {
      return evidence();
    },
    get advice() {
      return advice();
    },
    reference: row.reference,
    ...(causes === null ? {} : { causes }),
    ...(family.witnesses === undefined ? {} : { witnesses: family.witnesses(facts) }),
    ...(family.contradictions === undefined ? {} : { contradictions: family.contradictions(facts) }),
  };
}

/** What the first row that matches says of each case, in the order of the cases. */
export function findingsOf<Case>(rows: readonly FindingRule<Case>[], cases: readonly Case[]): Finding[] {
  return cases.flatMap((one) => {
    for (const row of rows) {
      const finding = row(one);
      if (finding !== null) return [finding];
    }
    return [];
  });
}

type Having<Case, Key extends keyof Case> = Case & { readonly [K in Key]: NonNullable<Case[K]> };

/** The case itself where this of it is known, which is what a row's `match` asks most often. */
export function having<Case, Key extends keyof Case>(one: Case, key: Key): Having<Case, Key> | null {
  return one[key] === null ? null : (one as Having<Case, Key>);
}
