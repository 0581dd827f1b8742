import { type SourceWays, segmentsDownTo } from "@dyetrace/site";
import type { Finding } from "../finding/finding.ts";
import { nameList } from "../finding/wording.ts";
import type { StreamFacts } from "../run/stream-facts.ts";
import type { SiteIndex } from "../site/site-index.ts";
import { routersTo, waysFrom } from "../site/ways-from.ts";

/**
 * Where packets did not come, no hop count tells by which routers they should have. The plan's costs say it, and a wrong
 * cost puts the fault on the wrong way. Our estimate, held against the truth by the bench.
 */
const MOST_ON_UNTOLD_WAY = 0.85;

/**
 * Lowers findings whose place depends on which of several ways packets would take, where no hop count of their source
 * rules the other ways out; and says which ways these are. What fails behind the last router of every way stays as sure.
 * @param findings drawn on the ways that the index names
 */
export function withUntoldWays(
  site: SiteIndex,
  streams: readonly StreamFacts[],
  findings: readonly Finding[],
): readonly Finding[] {
  if (!site.hasRouters) return findings;
  const fitting = new Map<string, readonly SourceWays[]>();
  const fittingOf = (source: string): readonly SourceWays[] => {
    const known = fitting.get(source) ?? fittingWays(site, source, streams);
    fitting.set(source, known);
    return known;
  };
  return findings.map((finding) => {
    if (finding.suspects.length === 0 || (finding.witnesses ?? []).length === 0) return finding;
    const witnesses = new Set(finding.witnesses);
    for (const facts of streams) {
      if (!finding.streams.includes(facts.stream.stream)) continue;
      const untold = untoldWay(site, facts, witnesses, fittingOf(facts.stream.source));
      if (untold !== null) return lowered(finding, facts.stream.source, untold);
    }
    return finding;
  });
}

/** Of the ways that a source's packets might take, those that contradict the fewest hop counts. */
function fittingWays(site: SiteIndex, source: string, streams: readonly StreamFacts[]): readonly SourceWays[] {
  const passedTo = new Map<string, number>();
  for (const { stream, receipts } of streams) {
    for (const { listener } of receipts) {
      if (stream.source !== source || stream.ttl === null || listener.ttlSeen === null) continue;
      passedTo.set(listener.host, stream.ttl - listener.ttlSeen);
    }
  }
  const { planned, others } = waysFrom(site.graph, source);
  const ways = [...planned, ...others()];
  const misfits = ways.map((one) => {
    const isMisfit = ([host, passed]: [string, number]): boolean =>
      (routersTo(site.graph, one, source, host)?.length ?? passed) !== passed;
    return [...passedTo].filter(isMisfit).length;
  });
  const fewest = Math.min(...misfits);
  return ways.filter((_, at) => misfits[at] === fewest);
}

interface UntoldWay {
  readonly host: string;
  /** Routers of each way to the host. */
  readonly byRouters: readonly string[];
}

/** A host for which the part of its way that nobody else's packets prove is another one by each of several ways. */
function untoldWay(
  site: SiteIndex,
  { stream: { source }, receipts }: StreamFacts,
  witnesses: ReadonlySet<string>,
  ways: readonly SourceWays[],
): UntoldWay | null {
  const hit = receipts.filter(({ listener, lostPackets }) => lostPackets > 0 && witnesses.has(listener.host));
  const served = receipts.filter(({ listener }) => listener.receivedPackets > 0 && !witnesses.has(listener.host));
  const proven = ways.map(
    (one) => new Set(served.flatMap(({ listener }) => segmentsDownTo(one, listener.host).map(({ id }) => id))),
  );
  for (const { listener } of hit) {
    const byUnproven = new Map<string, string>();
    for (const [at, one] of ways.entries()) {
      const routers = routersTo(site.graph, one, source, listener.host);
      if (routers === null || routers.length === 0) continue;
      const unproven = segmentsDownTo(one, listener.host).filter(({ id }) => !proven[at]?.has(id));
      byUnproven.set(unproven.map(({ id }) => id).join(), nameList(routers));
    }
    const byRouters = [...new Set(byUnproven.values())];
    if (byRouters.length > 1) return { host: listener.host, byRouters };
  }
  return null;
}

const lowered = (finding: Finding, source: string, { host, byRouters }: UntoldWay): Finding => ({
  ...finding,
  confidence: Math.min(finding.confidence, MOST_ON_UNTOLD_WAY),
  evidence: [
    ...finding.evidence,
    `No packet tells by which routers ${source} reaches ${host}: there is a way by ${byRouters.slice(0, 2).join(", and one by ")}. The suspects are on ways that the plan's costs and the hop counts give.`,
  ],
});
