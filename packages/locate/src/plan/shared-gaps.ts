import { intersectRanges, subtractRanges } from "@dyetrace/measure";
import type { Finding } from "../finding/finding.ts";
import { findingsOf, rowsOf } from "../finding/finding-row.ts";
import { count, nameList } from "../finding/wording.ts";
import type { PlacedReceipt } from "../run/clean-receipt.ts";
import type { SeqRange } from "../run/run-observations.ts";
import type { StreamFacts } from "../run/stream-facts.ts";
import { isAtOrBelow, nodesDownTo, type SourceTree } from "../site/source-tree.ts";

/** Hosts of different branches that miss the same packets, while others of these branches have them. */
interface SharedGaps {
  readonly stream: string;
  readonly hosts: readonly string[];
  readonly shared: number;
  readonly expected: number;
}

/** Losses at different places coincide by chance: so many times as often, and so often, is no chance. Our choice, no source. */
const TIMES_CHANCE = 5;
const LEAST_SHARED = 5;
/**
 * One place that loses for both leaves nearly the same gaps at both. Two places that lose at the same instants, each with its
 * own share (a burst of the source that two ports cannot take, losses at even spacing), do not. Our choice, no source.
 */
const LEAST_SHARE_OF_ALL = 2 / 3;
/** More losses of one stream than this are not held against each other: a bound of effort, no source. */
const MOST_COMPARED = 12;
/** A host between them whose report is wrong would look the same. Our estimate, held against the truth by the bench. */
const SHARED_CONFIDENCE = 0.8;

/** As much as what no chance explains: an error in the plan alone is likelier. Our choice, no source. */
const CONTRADICTIONS = 2;

const row = rowsOf<SharedGaps>({
  streams: ({ stream }) => [stream],
  suspects: () => [],
  witnesses: ({ hosts }) => hosts,
  contradictions: () => CONTRADICTIONS,
});

const SHARED_GAPS = row({
  kind: "plan-mismatch",
  match: (one) => one,
  confidence: () => SHARED_CONFIDENCE,
  title: ({ stream, hosts }) =>
    `${nameList(hosts)} miss the same packets of ${stream}, but in the plan no place is on the way to them alone`,
  evidence: ({ shared, expected }) => [
    `${count(shared, "gap")} of two of them coincide, where by chance ${expected < 1 ? "less than 1" : `about ${Math.round(expected)}`} would.`,
    "So one place loses them for all of these hosts, and they hang together: the plan has some of them, or the switch they hang on, elsewhere.",
  ],
  advice: "See where these hosts are really connected, correct the site plan and repeat the run.",
  reference: "common practice, no standard",
});

/** Losses that the plan has at different places and that are one. */
export function findSharedGaps(streams: readonly StreamFacts[], losses: readonly Finding[]): Finding[] {
  return findingsOf(
    [SHARED_GAPS],
    streams.flatMap((facts) => sharedGaps(facts, losses) ?? []),
  );
}

function sharedGaps(facts: StreamFacts, losses: readonly Finding[]): SharedGaps | null {
  const { stream, receipts } = facts;
  const own = losses.filter(({ streams }) => streams.includes(stream.stream)).slice(0, MOST_COMPARED);
  const places = own.flatMap(({ witnesses = [] }) => {
    const hosts = receipts.filter(({ listener, lostPackets }) => lostPackets > 0 && witnesses.includes(listener.host));
    return hosts.length === 0 ? [] : [hosts];
  });
  const hosts = new Set<string>();
  let most = { shared: 0, expected: 0 };
  for (const [i, some] of places.entries()) {
    for (const others of places.slice(i + 1)) {
      const one = comparison(facts, some, others);
      if (one === null || one.shared < LEAST_SHARE_OF_ALL * one.all) continue;
      if (one.shared < Math.max(LEAST_SHARED, TIMES_CHANCE * one.expected)) continue;
      for (const { listener } of [...some, ...others]) hosts.add(listener.host);
      if (one.shared > most.shared) most = one;
    }
  }
  return hosts.size === 0 ? null : { stream: stream.stream, hosts: [...hosts], ...most };
}

/** Gaps that the first of both have in common, without those that everyone below their last common node has. */
function comparison(
  { tree, receipts }: StreamFacts,
  [a]: readonly PlacedReceipt[],
  [b]: readonly PlacedReceipt[],
): { readonly shared: number; readonly expected: number; readonly all: number } | null {
  if (a === undefined || b === undefined || a.node === b.node) return null;
  const fork = lastCommonNode(tree, a.node, b.node);
  const others = receipts.filter((one) => one !== a && one !== b && isAtOrBelow(tree, one.node, fork));
  const [first, ...rest] = others;
  if (first === undefined) return null;
  const ofAll = rest.reduce((lost, one) => (lost.length === 0 ? lost : intersectRanges(lost, one.lost)), first.lost);
  const [ofA, ofB] = [subtractRanges(a.lost, ofAll), subtractRanges(b.lost, ofAll)];
  const packets = Math.min(a.sentPackets, b.sentPackets);
  const shared = intersectRanges(ofA, ofB).length;
  const expected = (ofA.length * ofB.length * (meanLength(ofA) + meanLength(ofB))) / Math.max(1, packets);
  return { shared, expected, all: ofA.length + ofB.length - shared };
}

const meanLength = (ranges: readonly SeqRange[]): number =>
  ranges.reduce((sum, [first, last]) => sum + last - first + 1, 0) / Math.max(1, ranges.length);

function lastCommonNode(tree: SourceTree, a: number, b: number): number {
  return nodesDownTo(tree, a).findLast((node) => isAtOrBelow(tree, b, node)) ?? tree.source;
}
