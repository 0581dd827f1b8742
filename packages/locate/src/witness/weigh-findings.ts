import type { SiteGraph } from "@dyetrace/site";
import { FINDING_KINDS } from "@dyetrace/wire";
import type { Finding } from "../finding/finding.ts";
import { misplacedFindings } from "../plan/misplaced-host.ts";
import type { RunObservations } from "../run/run-observations.ts";
import { type DoubtedHost, doubtedHost } from "./doubted-host.ts";
import { type HeardElsewhere, heardElsewhere } from "./elsewhere-by-hearing.ts";
import { hostSuppositions } from "./host-suppositions.ts";
import type { Accuse, Accused, Supposition } from "./supposition.ts";
import { ONE_WITNESS_CONFIDENCE, weighWitnesses } from "./weigh-witnesses.ts";

/** With more hosts in doubt than this the plan is another site's: nothing is gained by further guesses. Our choice, no source. */
const MOST_DOUBTED = 3;

/** Findings of these families rest on where hosts sit and on what they say. */
export const isAccusation = (finding: Finding): boolean => finding.witnesses !== undefined;

/**
 * Findings are as sure as the plan and the reports behind them. Where one host in another place, or its report wrong, would
 * explain what otherwise takes several faults, that is said, and the faults that are left; what rests on one host says so.
 * @param found all findings, and the streams on the ways on which they are drawn
 */
export function weighFindings(
  graph: SiteGraph,
  run: RunObservations,
  found: Pick<Accused, "streams" | "findings">,
  accuse: Accuse,
): Finding[] {
  const { streams, findings } = found;
  const accusations = findings.filter(isAccusation);
  const elsewhere = heardElsewhere(graph, run, silentHosts(accusations));
  if (elsewhere === null && accusations.length === 0) return noSurerThanThePlan(findings);
  const doubts: DoubtedHost[] = [];
  let supposed: Supposition =
    elsewhere === null
      ? { graph, run, found: { streams, faults: accusations, findings: accusations } }
      : { graph: elsewhere.graph, run, found: accuse(elsewhere.graph, run) };
  for (;;) {
    const suppositions = hostSuppositions(supposed, accuse);
    const doubt = doubts.length === MOST_DOUBTED ? null : doubtedHost(supposed, suppositions.tried, accuse);
    if (doubt === null) {
      const weighed = weighWitnesses(supposed.found.streams, supposed.found.findings, suppositions);
      return noSurerThanThePlan([...heardOf(elsewhere), ...saidOf(doubts), ...inOldOrder(findings, weighed)]);
    }
    doubts.push(doubt);
    supposed = doubt.supposed;
  }
}

/** The findings with their accusations replaced, at the place of the first of these. */
function inOldOrder(findings: readonly Finding[], accusations: readonly Finding[]): Finding[] {
  const first = findings.findIndex(isAccusation);
  if (first === -1) return [...accusations, ...findings];
  const before = findings.slice(0, first);
  return [...before, ...accusations, ...findings.slice(first).filter((finding) => !isAccusation(finding))];
}

/** Where the plan is wrong somewhere, no place is surer than what rests on one host. */
function noSurerThanThePlan(findings: readonly Finding[]): Finding[] {
  if (!findings.some(({ kind }) => kind === "plan-mismatch")) return [...findings];
  return findings.map((finding) =>
    isAccusation(finding) ? { ...finding, confidence: Math.min(finding.confidence, ONE_WITNESS_CONFIDENCE) } : finding,
  );
}

const silentHosts = (findings: readonly Finding[]): Set<string> =>
  new Set(findings.flatMap(({ kind, witnesses = [] }) => (FINDING_KINDS[kind].glyph === "stop" ? witnesses : [])));

const heardOf = (elsewhere: HeardElsewhere | null): Finding[] => {
  const [first, second] = elsewhere?.hosts ?? [];
  if (elsewhere === null || first === undefined) return [];
  const exchangedWith = second?.host ?? null;
  return misplacedFindings([{ ...first, exchangedWith, streams: [], otherwise: [], misfits: elsewhere.misfits }]);
};

const saidOf = (doubts: readonly DoubtedHost[]): Finding[] =>
  misplacedFindings(
    doubts.map(({ otherwise, ...doubt }) => ({
      ...doubt,
      streams: [...new Set(otherwise.flatMap(({ streams }) => streams))],
      otherwise: otherwise.map(({ title }) => title),
      exchangedWith: null,
      misfits: 0,
    })),
  );
