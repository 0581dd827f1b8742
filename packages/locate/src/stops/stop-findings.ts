import { explanationConfidence } from "../cover/explanation-confidence.ts";
import { type BadPair, smallestFailureSet } from "../cover/failure-set.ts";
import { type StreamTrial, streamTrials } from "../cover/stream-trials.ts";
import { companionEvidence, unicastBeside } from "../finding/companion-evidence.ts";
import { diagnose } from "../finding/diagnosis-rule.ts";
import type { Finding } from "../finding/finding.ts";
import { nameList } from "../finding/wording.ts";
import type { MembershipContext } from "../membership/membership-context.ts";
import type { StreamFacts } from "../run/stream-facts.ts";
import type { SiteIndex } from "../site/site-index.ts";
import { bestListener, listenerChoices, placeNumber } from "../tell-apart/next-listener.ts";
import { type StopCase, stopCase } from "./stop-case.ts";
import { STOP_RULES } from "./stop-rules.ts";
import { stopEvidence } from "./stop-wording.ts";
import { findSmallTtl, isBeyondTtl } from "./ttl-limit.ts";

/** Findings about silence, and what later steps must know of it. */
export interface Stops {
  readonly findings: readonly Finding[];
  readonly cases: readonly StopCase[];
  readonly trials: readonly StreamTrial[];
}

export function findStops(site: SiteIndex, streams: readonly StreamFacts[], membership: MembershipContext): Stops {
  const trials = streams.filter((facts) => isSent(facts)).flatMap(streamTrials);
  const set = smallestFailureSet(
    site,
    trials.map((trial) => withinTtl(site, trial)),
  );
  const cases = withoutDoubtfulPoints(
    set.failures.map((failure) => stopCase(site, failure, trials, set.cleared, membership)),
  );
  const findings = [
    ...findSmallTtl(site, streams),
    ...mergedByCause(cases.flatMap((stop) => stopFinding(site, stop, set.isExact) ?? [])),
    ...contradictions(set.unexplained),
  ];
  return { findings, cases, trials };
}

/**
 * Routers that let other joins without a source through have a rendezvous point, unless one elsewhere surely lacks it:
 * then what is silent behind them may be that other one's doing.
 */
function withoutDoubtfulPoints(cases: readonly StopCase[]): StopCase[] {
  const lacksPoint = ({ anySourceRouters, failure }: StopCase): boolean =>
    anySourceRouters !== null && failure.elements.some(({ kind }) => kind === "node-any-source");
  if (cases.some(lacksPoint)) return [...cases];
  return cases.map((stop) => ({ ...stop, anySourceRouters: null }));
}

/** A source that sent nothing silences everyone without any fault on the way. */
const isSent = ({ stream }: StreamFacts): boolean => stream.sourceState !== "not-sending" && stream.sentPackets !== 0;

/** Silence beyond the reach of the TTL is by the sender's own setting and accuses no place. */
function withinTtl(site: SiteIndex, trial: StreamTrial): StreamTrial {
  const outcomes = trial.outcomes.filter((o) => o.bad === null || !isBeyondTtl(site, trial.facts, o.leaf));
  return outcomes.length === trial.outcomes.length ? trial : { ...trial, outcomes };
}

const NOT_MULTICAST =
  "Unicast does not come through either: look at the cable, the link's state, the VLAN of both ports and the hosts' addresses before anything that concerns groups.";

function stopFinding(site: SiteIndex, stop: StopCase, isExact: boolean): Finding | null {
  const rule = diagnose(STOP_RULES, stop);
  if (rule === null) return null;
  const suspects = [...new Set(rule.suspects?.(stop) ?? stop.suspects)];
  const unicast = unicastBeside(stop.silentPairs.map(({ receipt }) => receipt.listener));
  return {
    kind: rule.kind,
    streams: stop.streams,
    suspects,
    confidence: stopConfidence(stop, isExact),
    title: rule.title(stop),
    evidence: [
      ...(rule.evidence?.(stop) ?? []),
      ...companionEvidence(unicast),
      ...stopEvidence(stop),
      ...nextAgent(site, stop, suspects),
    ],
    advice: unicast.poor.length > 0 && unicast.sound.length === 0 ? NOT_MULTICAST : rule.advice,
    reference: rule.reference,
  };
}

/** Where one more agent would part these suspects. */
function nextAgent(site: SiteIndex, { facts }: StopCase, suspects: readonly string[]): string[] {
  const trees = [...new Set(facts.map((one) => one.tree))];
  const numbers = suspects.flatMap((name) => placeNumber(site, name) ?? []);
  const best = bestListener(listenerChoices(site, trees), numbers);
  return best === null
    ? []
    : [`One more agent beside ${best.name}, listening to the same, would part these suspects best.`];
}

/**
 * What has one cause is said once: memberships run out host by host, each at its own time, and of a rendezvous point all
 * routers of a site must know, so that one that does not may silence listeners behind others.
 */
function mergedByCause(unsorted: readonly Finding[]): Finding[] {
  const merged = new Map<string, Finding>();
  const findings = unsorted.toSorted((a, b) => Number(isShared(b)) - Number(isShared(a)) || rankOf(b) - rankOf(a));
  for (const finding of findings) {
    const key = isShared(finding)
      ? finding.kind
      : finding.kind === "ages-out"
        ? finding.suspects.join(" ")
        : `${merged.size}`;
    const same = merged.get(key);
    if (same === undefined) {
      merged.set(key, finding);
    } else {
      merged.set(key, {
        ...same,
        suspects: [...new Set([...same.suspects, ...finding.suspects])],
        streams: [...new Set([...same.streams, ...finding.streams])],
        evidence: [...new Set([...same.evidence, finding.title, ...finding.evidence])],
      });
    }
  }
  return [...merged.values()];
}

const isShared = ({ kind }: Finding): boolean => kind === "rendezvous-point";
/** Among those of one cause, the one that leaves least doubt about the place, and says most, speaks. */
const rankOf = (finding: Finding): number => (isShared(finding) ? finding.streams.length : 0);

/** Silence on a way of which every part is proven good at that time. */
function contradictions(unexplained: readonly BadPair<StreamTrial>[]): Finding[] {
  const byStream = new Map<StreamFacts, string[]>();
  for (const { trial, outcome } of unexplained) {
    const hosts = byStream.get(trial.facts) ?? [];
    if (outcome.receipt !== null) hosts.push(outcome.receipt.listener.host);
    byStream.set(trial.facts, hosts);
  }
  return [...byStream].map(([{ stream }, hosts]) => ({
    kind: "inconclusive",
    streams: [stream.stream],
    suspects: [],
    confidence: 0.5,
    title: `${nameList(hosts)} got nothing of ${stream.stream}, although every part of the way is proven good by other packets`,
    evidence: [
      "Other streams of the same group came through every segment and node of this way at the same time, so the cause depends on the source, or the plan is wrong.",
    ],
    advice:
      "Compare what differs between this stream and those that pass: the source (a router checks the reverse path to each source by itself), the address, the time.",
    reference: "RFC 7761, section 4.2",
  }));
}

function stopConfidence(stop: StopCase, isExact: boolean): number {
  let confidence = explanationConfidence(0.98, stop.failure, isExact);
  if (stop.facts.some((f) => f.stream.sentPackets === null)) confidence *= 0.8;
  if (stop.ageing !== null && !stop.ageing.isCertain) confidence *= 0.65;
  return Math.round(confidence * 100) / 100;
}
