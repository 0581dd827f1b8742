import type { LinkSegment } from "@dyetrace/site";
import { planPlace } from "@dyetrace/site";
import type { StreamFacts } from "../run/stream-facts.ts";
import type { SiteIndex } from "../site/site-index.ts";
import { isAtOrBelow } from "../site/source-tree.ts";

/** A count that other streams may add to a port's, and how likely. */
export interface OtherFrames {
  readonly frames: number;
  readonly chance: number;
}

/** A switch that sends on what nobody behind a port wants is rarer than one that does not. Our estimate, no source. */
const UNWANTED_CHANCE = 0.1;
/** With more streams that may or may not pass, a counter says too little. */
const MOST_UNSURE = 4;
/** Of what is sent; less is as good as all. */
const NEARLY_ALL = 0.999;
/** The most that IPv4 and UDP leave of an Ethernet frame: a larger packet is several frames. */
const MOST_PAYLOAD_BYTES = 1452;

/** Null: it can't be told, for want of the source's word, or because packets go in pieces. */
export function framesOf({ stream }: StreamFacts): number | null {
  const isInPieces = stream.steps.some(({ payloadBytes }) => payloadBytes > MOST_PAYLOAD_BYTES);
  return isInPieces || stream.sentPackets === null ? null : stream.sentPackets;
}

/**
 * What streams other than these may have added to what a port counted.
 * @param vlan null: the port counts all VLANs together @returns null where too little is known
 */
export function othersThrough(
  site: SiteIndex,
  streams: readonly StreamFacts[],
  about: readonly StreamFacts[],
  segment: LinkSegment,
  vlan: number | null,
): readonly OtherFrames[] | null {
  let sums: readonly OtherFrames[] = [{ frames: 0, chance: 1 }];
  let unsure = 0;
  for (const facts of streams) {
    if (about.includes(facts)) continue;
    const possible = passing(site, facts, segment, vlan);
    if (possible === null) return null;
    if (possible.length > 1 && ++unsure > MOST_UNSURE) return null;
    sums = sums.flatMap((sum) =>
      possible.map(({ frames, chance }) => ({ frames: sum.frames + frames, chance: sum.chance * chance })),
    );
  }
  return sums;
}

function passing(
  site: SiteIndex,
  facts: StreamFacts,
  segment: LinkSegment,
  vlan: number | null,
): readonly OtherFrames[] | null {
  const isHere = (number: number): boolean => {
    const one = site.segments[number];
    if (one === undefined) return false;
    return vlan === null ? planPlace(one.id) === planPlace(segment.id) : one.id === segment.id;
  };
  const top = facts.tree.order.find((node) => isHere(facts.tree.into[node] ?? -1));
  if (top === undefined) return [{ frames: 0, chance: 1 }];
  const frames = framesOf(facts);
  if (frames === null) return null;
  const isBelow = (node: number): boolean => isAtOrBelow(facts.tree, node, top);
  const receipts = facts.receipts.filter(({ node }) => isBelow(node));
  const best = Math.max(0, ...receipts.map(({ sentPackets, lostPackets }) => sentPackets - lostPackets));
  if (best >= NEARLY_ALL * frames) return [{ frames, chance: 1 }];
  if (receipts.length > 0 || [...facts.members].some(isBelow)) {
    return [
      { frames, chance: 0.5 },
      { frames: best, chance: 0.5 },
    ];
  }
  return [
    { frames: 0, chance: 1 - UNWANTED_CHANCE },
    { frames, chance: UNWANTED_CHANCE },
  ];
}
