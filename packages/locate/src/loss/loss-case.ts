import type { LinkSegment } from "@dyetrace/site";
import { type UnicastBeside, unicastBeside } from "../finding/companion-evidence.ts";
import type { ListenerObservation } from "../run/run-observations.ts";
import type { StreamFacts } from "../run/stream-facts.ts";
import type { SiteIndex } from "../site/site-index.ts";
import { type EvenLoss, evenLossOn } from "./even-loss.ts";
import { LOSS_FLOOR } from "./loss-floor.ts";
import { type LossInterval, lowestLoss } from "./loss-interval.ts";
import { type RateLimit, rateLimitOn } from "./rate-curve.ts";
import { intervalOf, type MeasuredChain } from "./segment-loss.ts";
import type { ChainLoss, LossScope } from "./stream-loss.ts";

/** Loss on one chain of segments, with what tells its kinds apart. */
export interface LossCase {
  readonly streams: readonly string[];
  readonly segments: readonly LinkSegment[];
  readonly suspects: readonly string[];
  readonly interval: LossInterval;
  /** Hosts that share the loss. */
  readonly hosts: readonly string[];
  /** By stream, as hosts may listen to one and not to another. */
  readonly sharers: readonly { readonly hosts: readonly string[]; readonly streams: readonly string[] }[];
  /** Set where the chain ends at a listener. */
  readonly lastHost: string | null;
  /** Hosts whose own drops would look the same, as they cannot count them. */
  readonly uncountedHosts: readonly string[];
  /** Packets lost on the chain, all streams together. */
  readonly lostPackets: number;
  /** Packets that came to the chain. */
  readonly offeredPackets: number;
  readonly isBursty: boolean;
  /** Streams that cross the same chain without loss. */
  readonly cleanStreams: readonly string[];
  readonly rateLimit: RateLimit | null;
  /** Set where the losses come as evenly as behind a limit on the rate. */
  readonly evenLoss: EvenLoss | null;
  readonly unicast: UnicastBeside;
}

/** From this spread over the blocks on, against that of independent losses, the reader is told of bursts. Common practice, no source. */
const BURSTY = 1.6;
/** That more hosts than this drop the same packets is no chance any more. Our choice, no source. */
const MOST_BUSY_HOSTS = 8;

/** @param z quantile of the error level at which a stream counts as without loss */
export function lossCase(
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
  const lastHost = receipts[0]?.listener.host ?? null;
  const isBursty = parts.some(({ link }) => link.burstFactor > BURSTY);
  const hosts = [...new Set(parts.flatMap((part) => part.hosts))];
  const uncountedHosts = uncounted(parts, lastHost === null ? hosts : [lastHost], isBursty);
  const named = (segments.length > 0 ? segments : chain.segments).flatMap((s) => site.segments[s] ?? []);
  return {
    streams: [...new Set(parts.map((part) => part.facts.stream.stream))],
    segments: named,
    suspects: lossSuspects(site, named, lastHost === null ? uncountedHosts : [lastHost]),
    interval,
    hosts,
    sharers: sharersOf(parts),
    lastHost,
    uncountedHosts,
    lostPackets: Math.round(
      sum(parts.map(({ link }) => Math.max(0, link.rawLossRatio) * link.passAbove * link.packets)),
    ),
    offeredPackets: Math.round(sum(parts.map(({ link }) => link.passAbove * link.packets))),
    isBursty,
    cleanStreams: chain.parts.filter((part) => isClean(part, z)).map((part) => part.facts.stream.stream),
    unicast: unicastBeside(parts.flatMap(listenersOf), interval.low),
    rateLimit: firstOf(parts, (part): RateLimit | null => {
      const scope = scopes.get(part.facts);
      return scope === undefined || part.facts.stream.steps.length < 2
        ? null
        : rateLimitOn(part.facts, chain.segments, scope);
    }),
    evenLoss: firstOf(parts, (part): EvenLoss | null => {
      const scope = scopes.get(part.facts);
      return scope === undefined ? null : evenLossOn(part, scope);
    }),
  };
}

function sharersOf(parts: readonly ChainLoss[]): LossCase["sharers"] {
  const byHosts = new Map<string, { readonly hosts: readonly string[]; readonly streams: string[] }>();
  for (const { facts, hosts } of parts) {
    const key = hosts.toSorted().join(" ");
    const same = byHosts.get(key) ?? { hosts, streams: [] };
    byHosts.set(key, same);
    same.streams.push(facts.stream.stream);
  }
  return [...byHosts.values()];
}

const listenersOf = ({ facts, hosts }: ChainLoss): ListenerObservation[] =>
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
  lowestLoss([part.link], z, "counted") === 0 && part.link.rawLossRatio <= 0;

/**
 * Hosts that are busy at the same moments drop the same packets, in bursts. One of them that counts its drops tells the
 * two apart for all: what it did not drop was lost above it.
 */
function uncounted(parts: readonly ChainLoss[], hosts: readonly string[], isBursty: boolean): readonly string[] {
  if (hosts.length > 1 && (!isBursty || hosts.length > MOST_BUSY_HOSTS)) return [];
  const isCounted = parts
    .flatMap(listenersOf)
    .some(({ host, hostLostPackets }) => hosts.includes(host) && hostLostPackets !== null);
  return isCounted ? [] : hosts;
}

/** The segments, then the nodes that no listener can tell from the segment into them, then hosts. */
function lossSuspects(site: SiteIndex, segments: readonly LinkSegment[], hosts: readonly string[]): string[] {
  const nodes = segments.map((segment) => segment.to.node).filter((node) => !hosts.includes(node));
  const source = segments[0]?.from.node;
  const isSource = source !== undefined && site.graph.nodes.get(source)?.kind === "host";
  return [...segments.map((s) => s.id), ...nodes, ...(isSource ? [source] : []), ...hosts];
}

const sum = (numbers: readonly number[]): number => numbers.reduce((total, n) => total + n, 0);

function firstOf<T, R>(items: readonly T[], find: (item: T) => R | null): R | null {
  for (const item of items) {
    const found = find(item);
    if (found !== null) return found;
  }
  return null;
}
