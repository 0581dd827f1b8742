import { type LinkSegment, planPlace, vlanOfPlace } from "@dyetrace/site";
import { unicastBeside } from "../finding/companion-evidence.ts";
import { diagnose } from "../finding/diagnosis-rule.ts";
import type { Finding } from "../finding/finding.ts";
import { count, nameList, percent } from "../finding/wording.ts";
import type { ListenerObservation } from "../run/run-observations.ts";
import type { StreamFacts } from "../run/stream-facts.ts";
import type { SiteIndex } from "../site/site-index.ts";
import { lossInterval, normalQuantileOfTail, studentQuantile } from "./loss-interval.ts";
import { LOSS_RULES, type LossCase, type RateLimit } from "./loss-rules.ts";
import { rateLimitOn } from "./rate-curve.ts";
import { intervalOf, type MeasuredChain } from "./segment-loss.ts";
import type { ChainLoss, LossScope } from "./stream-loss.ts";

/** A segment is called lossy only if its loss surely exceeds this: every network loses a packet now and then. */
export const LOSS_FLOOR = 0.001;
/** Chance that any of all the links of a run without loss is called lossy. */
const FAMILY_ERROR = 0.01;

/**
 * Findings about loss. Every link is tested at an error level divided by the number of links: with hundreds of links a
 * plain 95 % interval would blame sound ones in every run.
 */
export function findLoss(
  site: SiteIndex,
  chains: readonly MeasuredChain[],
  scopes: ReadonlyMap<StreamFacts, LossScope>,
): Finding[] {
  const tests = chains.reduce((sum, chain) => sum + chain.parts.length, 0);
  const z = normalQuantileOfTail(FAMILY_ERROR / Math.max(1, tests));
  const lossy = chains.filter((chain) => isLossy(chain, z));
  const named = lossy.filter((chain) => !isExplained(chain, lossy));
  return mergedByTrunk(named.flatMap((chain) => lossFinding(site, lossCase(site, chain, chains, scopes, z)) ?? []));
}

/** What several VLANs lose on one trunk has one cause more likely than several: the trunk as a whole is named first. */
function mergedByTrunk(findings: readonly Finding[]): Finding[] {
  const merged = new Map<string, Finding>();
  for (const finding of findings) {
    const [chief = ""] = finding.suspects;
    const vlan = vlanOfPlace(chief);
    const key = vlan === null ? `${merged.size}` : `${finding.kind} ${planPlace(chief)}`;
    const same = merged.get(key);
    if (same === undefined) {
      merged.set(key, finding);
      continue;
    }
    const suspects = [planPlace(chief), ...same.suspects, ...finding.suspects];
    merged.set(key, {
      ...same,
      streams: [...new Set([...same.streams, ...finding.streams])],
      suspects: [...new Set(suspects)],
      title: `${same.title}; VLAN ${vlan} loses on ${planPlace(chief)} as well`,
      evidence: [...same.evidence, finding.title, ...finding.evidence],
    });
  }
  return [...merged.values()];
}

function isLossy({ parts, isLast }: MeasuredChain, z: number): boolean {
  return isSurelyOver(parts, isLast, z) || (parts.length > 1 && parts.some((part) => isSurelyOver([part], isLast, z)));
}

/**
 * Bursts do not make the place of a loss at the last link doubtful: what a neighbour got and this listener did not was
 * lost there. Further up a coincidence of bursts below can look like a common loss, so the wider interval decides.
 */
function isSurelyOver(parts: readonly ChainLoss[], isLast: boolean, z: number): boolean {
  // The lower limit lies below the estimate.
  if (parts.every(({ link }) => link.rawLossRatio <= LOSS_FLOOR)) return false;
  const links = parts.map(({ link }) => (isLast ? { ...link, burstFactor: 1 } : link));
  const width = links.some((link) => link.burstFactor > 1) ? studentQuantile(z, 19) : z;
  return lossInterval(links, width).low > LOSS_FLOOR;
}

/** A longer chain's loss that shorter lossy chains within it account for needs no finding of its own. */
function isExplained(chain: MeasuredChain, lossy: readonly MeasuredChain[]): boolean {
  const within = lossy.filter(
    (other) => other.segments.length < chain.segments.length && other.segments.every((s) => chain.segments.includes(s)),
  );
  const explained = within.reduce((sum, other) => sum + other.interval.high, 0);
  return within.length > 0 && chain.interval.low - explained <= LOSS_FLOOR;
}

function lossCase(
  site: SiteIndex,
  chain: MeasuredChain,
  chains: readonly MeasuredChain[],
  scopes: ReadonlyMap<StreamFacts, LossScope>,
  z: number,
): LossCase {
  const losing = chain.parts.filter((part) => intervalOf([part]).low > 0 && part.link.rawLossRatio > LOSS_FLOOR);
  const parts = losing.length > 0 ? losing : chain.parts;
  const segments = chain.segments.filter((segment) => !isClearedElsewhere(segment, chain, chains));
  const interval = intervalOf(parts);
  const receipts = parts.flatMap((part) => part.receipt ?? []);
  return {
    streams: [...new Set(parts.map((part) => part.facts.stream.stream))],
    segments: (segments.length > 0 ? segments : chain.segments).flatMap((s) => site.segments[s] ?? []),
    interval,
    hosts: [...new Set(parts.flatMap((part) => part.hosts))],
    lastHost: receipts[0]?.listener.host ?? null,
    areHostDropsKnown: receipts.every((receipt) => receipt.listener.hostLostPackets !== null),
    lostPackets: Math.round(
      sum(parts.map(({ link }) => Math.max(0, link.rawLossRatio) * link.passAbove * link.packets)),
    ),
    sentPackets: sum(parts.map(({ link }) => link.packets)),
    isBursty: parts.some(({ link }) => link.burstFactor > 1.6),
    cleanStreams: chain.parts.filter((part) => isClean(part, z)).map((part) => part.facts.stream.stream),
    unicast: unicastBeside(parts.flatMap(sharers)),
    rateLimit: firstOf(parts, (part): RateLimit | null => {
      const scope = scopes.get(part.facts);
      return scope === undefined || part.facts.stream.steps.length < 2
        ? null
        : rateLimitOn(part.facts, chain.segments, scope);
    }),
  };
}

const sharers = ({ facts, hosts }: ChainLoss): ListenerObservation[] =>
  facts.receipts.map(({ listener }) => listener).filter(({ host }) => hosts.includes(host));

/** Another stream's shorter chain shows that this segment loses far less than the chain does. */
function isClearedElsewhere(segment: number, chain: MeasuredChain, chains: readonly MeasuredChain[]): boolean {
  return chains.some(
    (other) =>
      other.segments.length < chain.segments.length &&
      other.segments.includes(segment) &&
      other.interval.high < chain.interval.low / 2,
  );
}

const isClean = (part: ChainLoss, z: number): boolean =>
  lossInterval([part.link], z).low === 0 && part.link.rawLossRatio <= 0;

function lossFinding(site: SiteIndex, loss: LossCase): Finding | null {
  const rule = diagnose(LOSS_RULES, loss);
  if (rule === null) return null;
  return {
    kind: rule.kind,
    streams: loss.streams,
    suspects: lossSuspects(site, loss.segments, loss.lastHost),
    confidence: loss.isBursty ? 0.9 : 0.96,
    title: rule.title(loss),
    evidence: [...(rule.evidence?.(loss) ?? []), ...lossEvidence(loss)],
    advice: rule.advice,
    reference: rule.reference,
  };
}

/** The segments, then the nodes that no listener can tell from the segment into them. */
function lossSuspects(site: SiteIndex, segments: readonly LinkSegment[], host: string | null): string[] {
  const nodes = segments.map((segment) => segment.to.node).filter((node) => node !== host);
  const source = segments[0]?.from.node;
  const isSource = source !== undefined && site.graph.nodes.get(source)?.kind === "host";
  return [...segments.map((s) => s.id), ...nodes, ...(isSource ? [source] : []), ...(host === null ? [] : [host])];
}

function lossEvidence({ interval, lostPackets, sentPackets, hosts, segments }: LossCase): string[] {
  const lines = [
    `About ${count(lostPackets, "packet")} of ${sentPackets} lost on this stretch: ${percent(interval.lossRatio)}, 95 % interval ${percent(interval.low)} to ${percent(interval.high)}.`,
  ];
  if (hosts.length > 1) lines.push(`${nameList(hosts)} miss the same numbers, so they were lost above all of them.`);
  if (segments.length > 1) {
    lines.push(
      `${nameList(segments.map((s) => s.id))} form one chain with no branch and no agent in between, so only their joint loss is known.`,
    );
  }
  lines.push("A node and the segment into it lose the same packets, so no listener can tell them apart.");
  return lines;
}

const sum = (numbers: readonly number[]): number => numbers.reduce((total, n) => total + n, 0);

function firstOf<T, R>(items: readonly T[], find: (item: T) => R | null): R | null {
  for (const item of items) {
    const found = find(item);
    if (found !== null) return found;
  }
  return null;
}
