import { FINDING_KINDS } from "@dyetrace/wire";
import type { Finding } from "../finding/finding.ts";
import { nameList } from "../finding/wording.ts";
import type { StreamFacts } from "../run/stream-facts.ts";
import { faultsNeeded, faultsUpTo } from "./faults-needed.ts";
import { forkWitnesses } from "./fork-witnesses.ts";
import type { Suppositions } from "./host-suppositions.ts";
import type { Accused } from "./supposition.ts";

/**
 * What rests on one host's word is no surer than that word: a host may sit elsewhere than planned, or its agent may be
 * broken. Our estimate, held against the truth by the bench.
 */
export const ONE_WITNESS_CONFIDENCE = 0.85;

/** So many stops at once are rarer than one stop and one error in the plan. Our choice, no source. */
const SEVERAL_STOPS = 2;

/**
 * Lowers what rests on one host alone, and says on which: on the only host that shows it, or on one without whose word, or
 * in whose other place, the fault could lie elsewhere. Several stops at once are lowered, too.
 */
export function weighWitnesses(
  streams: readonly StreamFacts[],
  findings: readonly Finding[],
  { tried, untried }: Suppositions,
): Finding[] {
  const needed = faultsNeeded(findings);
  const doubtful = tried.filter((one) => one.isSoleWitness || faultsUpTo(needed - 1, one.found) < needed);
  const hasSeveralStops = faultsNeeded(findings.filter(isStop)) >= SEVERAL_STOPS;
  return findings.map((finding) => {
    const { witnesses = [] } = finding;
    if (witnesses.length === 0 || finding.suspects.length === 0) return finding;
    const without = doubtful.filter((one) => !isSaid(finding, one.found));
    const pillars = new Set([
      ...(witnesses.length === 1 ? witnesses : []),
      ...(isLeak(finding) ? [] : forkWitnesses(streams, finding)),
      ...suspectedSource(streams, finding),
      ...without.map(({ host }) => host),
    ]);
    if (pillars.size > 0) return lowered(finding, restsOn([...pillars]));
    if (hasSeveralStops && isStop(finding)) return lowered(finding, SEVERAL_STOPS_LINE);
    return untried.length > 0 ? lowered(finding, UNTRIED_LINE) : finding;
  });
}

/** A source that alone sends what stops, and is among the suspects: what it sends starts where it really sits. */
function suspectedSource(streams: readonly StreamFacts[], finding: Finding): string[] {
  const own = streams.filter(({ stream }) => finding.streams.includes(stream.stream));
  const [source, ...others] = new Set(own.map(({ stream }) => stream.source));
  return source !== undefined && others.length === 0 && finding.suspects.includes(source) ? [source] : [];
}

const isStop = ({ kind }: Finding): boolean => FINDING_KINDS[kind].glyph === "stop";
const isLeak = ({ kind }: Finding): boolean => FINDING_KINDS[kind].glyph === "seep";

/** Whether something found says as much. That losses do of what is none is not looked for: they would have to be worked out. */
const isSaid = (finding: Finding, found: Accused): boolean =>
  (FINDING_KINDS[finding.kind].glyph === "thin" ? found.findings : found.faults).some((one) =>
    saysAsMuch(one, finding),
  );

/** Whether a finding names the place at least as closely as another. */
const saysAsMuch = (one: Finding, other: Finding): boolean =>
  one.suspects.length > 0 && one.suspects.every((suspect) => other.suspects.includes(suspect));

const SEVERAL_STOPS_LINE =
  "There are other stops in this run. One stop and an error in the plan could explain several of them, so each is less sure.";

const UNTRIED_LINE =
  "Whether one host's word decides it was not worked out: the run is too large for that. If a host sits elsewhere than planned, or its report is wrong, the fault may lie elsewhere.";

const restsOn = (hosts: readonly string[]): string =>
  hosts.length === 1
    ? `This rests on ${nameList(hosts)} alone: if it sits elsewhere than planned, or its report is wrong, the fault may lie elsewhere.`
    : `If one of ${nameList(hosts)} sits elsewhere than planned, or its report is wrong, the fault may lie elsewhere.`;

const lowered = (finding: Finding, why: string): Finding => ({
  ...finding,
  confidence: Math.min(finding.confidence, ONE_WITNESS_CONFIDENCE),
  evidence: [...finding.evidence, why],
});
