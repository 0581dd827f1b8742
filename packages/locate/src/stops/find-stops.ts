import { smallestFailureSet } from "../cover/failure-set.ts";
import { type StreamTrial, streamTrials } from "../cover/stream-trials.ts";
import type { Finding } from "../finding/finding.ts";
import { findingsOf } from "../finding/finding-row.ts";
import type { MembershipContext } from "../membership/membership-context.ts";
import type { StreamFacts } from "../run/stream-facts.ts";
import type { SiteIndex } from "../site/site-index.ts";
import { ListenerChoices } from "../tell-apart/next-listener.ts";
import { findContradictions } from "./contradiction.ts";
import { isOutOfReach } from "./out-of-reach.ts";
import { ReceiptTallies } from "./receipt-tallies.ts";
import { ServedReceipts } from "./served-receipts.ts";
import { findSmallScope } from "./small-scope.ts";
import { findSmallTtl } from "./small-ttl.ts";
import { type StopCase, stopCase } from "./stop-case.ts";
import { STOP_ROWS } from "./stop-rows.ts";

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
    trials.map((trial) => withinReach(site, trial)),
  );
  const lookUps = {
    trials,
    receipts: new ServedReceipts(trials),
    tallies: new ReceiptTallies(),
    choices: new ListenerChoices(site),
  };
  const cases = withoutDoubtfulPoints(set.failures.map((failure) => stopCase(site, failure, lookUps, set, membership)));
  const findings = [
    ...findSmallScope(site, streams),
    ...findSmallTtl(site, streams),
    ...mergedByCause(findingsOf(STOP_ROWS, cases)),
    ...findContradictions(set.unexplained),
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

/** Silence beyond the reach of the TTL or the group is by the sender's own choice and accuses no place. */
function withinReach(site: SiteIndex, trial: StreamTrial): StreamTrial {
  const outcomes = trial.outcomes.filter((o) => o.bad === null || !isOutOfReach(site, trial.facts, o.leaf));
  return outcomes.length === trial.outcomes.length ? trial : { ...trial, outcomes };
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
        witnesses: [...new Set([...(same.witnesses ?? []), ...(finding.witnesses ?? [])])],
      });
    }
  }
  return [...merged.values()];
}

const isShared = ({ kind }: Finding): boolean => kind === "rendezvous-point";
/** Among those of one cause, the one that leaves least doubt about the place, and says most, speaks. */
const rankOf = (finding: Finding): number => (isShared(finding) ? finding.streams.length : 0);
