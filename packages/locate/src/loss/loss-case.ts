import type { LinkSegment } from "@dyetrace/site";
import { type UnicastBeside, unicastBeside } from "../finding/companion-evidence.ts";
import type { ListenerObservation } from "../run/run-observations.ts";
import type { StreamFacts } from "../run/stream-facts.ts";
import type { SiteIndex } from "../site/site-index.ts";
import { LOSS_FLOOR } from "./loss-floor.ts";
import { type LossInterval, lossInterval } from "./loss-interval.ts";
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
  /** Set where the chain ends at a listener. */
  readonly lastHost: string | null;
  /** False where that host cannot tell its own drops from the network's. */
  readonly areHostDropsKnown: boolean;
  /** Packets lost on the chain, all streams together. */
  readonly lostPackets: number;
  readonly sentPackets: number;
  readonly isBursty: boolean;
  /** Streams that cross the same chain without loss. */
  readonly cleanStreams: readonly string[];
  readonly rateLimit: RateLimit | null;
  readonly unicast: UnicastBeside;
}

/** From this spread over the blocks on, against that of independent losses, the reader is told of bursts. Common practice, no source. */
const BURSTY = 1.6;

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
  const named = (segments.length > 0 ? segments : chain.segments).flatMap((s) => site.segments[s] ?? []);
  return {
    streams: [...new Set(parts.map((part) => part.facts.stream.stream))],
    segments: named,
    suspects: lossSuspects(site, named, lastHost),
    interval,
    hosts: [...new Set(parts.flatMap((part) => part.hosts))],
    lastHost,
    areHostDropsKnown: receipts.every((receipt) => receipt.listener.hostLostPackets !== null),
    lostPackets: Math.round(
      sum(parts.map(({ link }) => Math.max(0, link.rawLossRatio) * link.passAbove * link.packets)),
    ),
    sentPackets: sum(parts.map(({ link }) => link.packets)),
    isBursty: parts.some(({ link }) => link.burstFactor > BURSTY),
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

/** The segments, then the nodes that no listener can tell from the segment into them. */
function lossSuspects(site: SiteIndex, segments: readonly LinkSegment[], host: string | null): string[] {
  const nodes = segments.map((segment) => segment.to.node).filter((node) => node !== host);
  const source = segments[0]?.from.node;
  const isSource = source !== undefined && site.graph.nodes.get(source)?.kind === "host";
  return [...segments.map((s) => s.id), ...nodes, ...(isSource ? [source] : []), ...(host === null ? [] : [host])];
}

const sum = (numbers: readonly number[]): number => numbers.reduce((total, n) => total + n, 0);

function firstOf<T, R>(items: readonly T[], find: (item: T) => R | null): R | null {
  for (const item of items) {
    const found = find(item);
    if (found !== null) return found;
  }
  return null;
}
