import type { Finding, MisplacedHost } from "../finding/finding.ts";
import { findingsOf, rowsOf } from "../finding/finding-row.ts";
import { nameList } from "../finding/wording.ts";

/** A host that the plan has elsewhere, or whose report is wrong. */
export interface MisplacedCase {
  readonly host: string;
  readonly plannedAt: string | null;
  /** The host in whose place it sits, and which sits in its place; null where it is not known to be so. */
  readonly exchangedWith: string | null;
  /** Nodes on which what was seen would fit; none where it fits nowhere, null where nobody knows. */
  readonly fits: readonly string[] | null;
  readonly streams: readonly string[];
  /** What would have to be true if it sits where it is planned and reports what is so. */
  readonly otherwise: readonly string[];
  /** Membership reports of it, or that it heard, that are not as at its planned place. */
  readonly misfits: number;
}

interface Elsewhere extends MisplacedCase {
  readonly plannedAt: string;
}

interface Exchanged extends Elsewhere {
  readonly other: string;
  readonly otherPlannedAt: string;
}

/** That a host sits elsewhere, as what it says alone tells. Our estimate, held against the truth by the bench. */
const MISPLACED_CONFIDENCE = 0.8;
const MOST_PLACES = 3;
const MOST_LINES = 5;

const row = rowsOf<MisplacedCase>({
  streams: ({ streams }) => streams,
  suspects: ({ host, exchangedWith }) => [host, ...(exchangedWith === null ? [] : [exchangedWith])],
  confidence: () => MISPLACED_CONFIDENCE,
});

const seemsAt = ({ fits }: MisplacedCase): string | null => (fits?.length === 1 ? (fits[0] ?? null) : null);

const heardWhere = ({ misfits }: Pick<MisplacedCase, "misfits">): string =>
  `Who hears whose membership reports differs from the plan ${misfits} times, and fits there: a switch hands reports on to routers and queriers alone, an unmanaged switch and a radio to everybody.`;

const ROWS = [
  row({
    kind: "plan-mismatch",
    match: (one): Exchanged | null => {
      const [otherPlannedAt, ...more] = one.fits ?? [];
      return one.exchangedWith === null || one.plannedAt === null || otherPlannedAt === undefined || more.length > 0
        ? null
        : { ...one, plannedAt: one.plannedAt, other: one.exchangedWith, otherPlannedAt };
    },
    title: ({ host, plannedAt, other, otherPlannedAt }) =>
      `${host} and ${other} seem to sit in each other's place: ${host} at ${otherPlannedAt}, ${other} at ${plannedAt}`,
    evidence: (one) => [heardWhere(one)],
    advice: ({ host, other }) =>
      `See which ports ${host} and ${other} are really on, correct the site plan and repeat the run. Until then no place beside them is sure.`,
    reference: "RFC 4541, section 2.1.1",
  }),
  row({
    kind: "plan-mismatch",
    match: (one): Elsewhere | null =>
      one.plannedAt === null || one.fits?.length === 0 ? null : { ...one, plannedAt: one.plannedAt },
    title: (one) =>
      one.fits === null || one.fits.length > MOST_PLACES
        ? `${one.host} seems to sit elsewhere than at ${one.plannedAt}, or its report is wrong`
        : `${one.host} seems to sit at ${orList(one.fits)}, not at ${one.plannedAt}`,
    evidence: ({ host, otherwise, fits, plannedAt, ...one }) => [
      ...(one.misfits === 0 ? [] : [heardWhere(one)]),
      ...(otherwise.length === 0
        ? []
        : [
            `If ${host} sits at ${plannedAt} and its report is right, all of this has to be wrong at once:`,
            ...otherwise.slice(0, MOST_LINES),
            ...(otherwise.length > MOST_LINES ? [`and ${otherwise.length - MOST_LINES} more`] : []),
          ]),
      ...(fits !== null && fits.length > MOST_PLACES ? [`What was seen would fit at ${nameList(fits)}.`] : []),
    ],
    advice: ({ host }) =>
      `See which port ${host} is really on, correct the site plan and repeat the run. Until then no place beside it is sure.`,
    reference: "common practice, no standard",
  }),
  row({
    kind: "plan-mismatch",
    match: (one) => one,
    title: ({ host }) => `The report of ${host} does not fit those of the others, wherever it sits`,
    evidence: ({ host, otherwise }) => [
      `If the report of ${host} is right, all of this has to be wrong at once:`,
      ...otherwise.slice(0, MOST_LINES),
      ...(otherwise.length > MOST_LINES ? [`and ${otherwise.length - MOST_LINES} more`] : []),
    ],
    advice: ({ host }) =>
      `Check ${host}: its place in the plan, its clock, what else runs there, its agent. Leave it out of the run and see whether the rest agrees.`,
    reference: "common practice, no standard",
  }),
];

/** What is said of a host whose place or word is in doubt. */
export function misplacedFindings(cases: readonly MisplacedCase[]): Finding[] {
  return findingsOf(ROWS, cases).map((finding, at) => {
    const one = cases[at];
    if (one === undefined || one.fits?.length === 0) return finding;
    const misplaced: MisplacedHost = { host: one.host, plannedAt: one.plannedAt, seemsAt: seemsAt(one) };
    const { exchangedWith } = one;
    const other =
      exchangedWith === null ? [] : [{ host: exchangedWith, plannedAt: seemsAt(one), seemsAt: one.plannedAt }];
    return { ...finding, misplaced: [misplaced, ...other] };
  });
}

const orList = (names: readonly string[]): string =>
  names.length < 2 ? names.join("") : `${names.slice(0, -1).join(", ")} or ${names.at(-1)}`;
