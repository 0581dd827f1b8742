import type { Finding } from "./conclusion.ts";
import { diagnose } from "./diagnosis-rule.ts";
import { smallestFailureSet } from "./failure-set.ts";
import type { SiteIndex } from "./site-index.ts";
import { type StopCase, stopCase } from "./stop-case.ts";
import { STOP_RULES } from "./stop-rules.ts";
import { stopEvidence } from "./stop-wording.ts";
import type { StreamFacts } from "./stream-facts.ts";
import { type StreamTrial, streamTrials } from "./stream-trials.ts";

/** Findings about silence, and what later steps must know of it. */
export interface Stops {
  readonly findings: readonly Finding[];
  readonly cases: readonly StopCase[];
  readonly trials: readonly StreamTrial[];
}

export function findStops(site: SiteIndex, streams: readonly StreamFacts[]): Stops {
  const trials = streams.filter((facts) => isSent(facts)).flatMap(streamTrials);
  const set = smallestFailureSet(site, trials);
  const cases = set.failures.map((failure) => stopCase(site, failure, trials, set.cleared));
  return { findings: cases.flatMap((stop) => stopFinding(stop, set.isExact) ?? []), cases, trials };
}

/** A source that sent nothing silences everyone without any fault on the way. */
export const isSent = ({ stream }: StreamFacts): boolean =>
  stream.sourceState !== "not-sending" && stream.sentPackets !== 0;

function stopFinding(stop: StopCase, isExact: boolean): Finding | null {
  const rule = diagnose(STOP_RULES, stop);
  if (rule === null) return null;
  return {
    kind: rule.kind,
    streams: stop.streams,
    suspects: stop.suspects,
    confidence: stopConfidence(stop, isExact),
    title: rule.title(stop),
    evidence: [...(rule.evidence?.(stop) ?? []), ...stopEvidence(stop)],
    advice: rule.advice,
    reference: rule.reference,
  };
}

/** Chance of a fault in any one element, for weighing one fault against several that would explain the same. */
const FAULT_CHANCE = 0.02;

function stopConfidence(stop: StopCase, isExact: boolean): number {
  const { faultsOtherwise } = stop.failure;
  const oddsOtherwise = faultsOtherwise === null ? 0 : FAULT_CHANCE ** (faultsOtherwise - 1);
  let confidence = 0.98 / (1 + oddsOtherwise);
  if (!isExact) confidence *= 0.7;
  if (stop.facts.some((f) => f.stream.sentPackets === null)) confidence *= 0.8;
  return Math.round(confidence * 100) / 100;
}
