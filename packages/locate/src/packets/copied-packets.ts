import { judgeProportion } from "@dyetrace/measure";
import type { LinkSegment } from "@dyetrace/site";
import { FINDING_KINDS } from "@dyetrace/wire";
import { explanationConfidence } from "../cover/explanation-confidence.ts";
import { type ElementKind, placeNames } from "../cover/failure-element.ts";
import { type NamedFailure, smallestFailureSet } from "../cover/failure-set.ts";
import type { PathTrial } from "../cover/path-trial.ts";
import type { Finding } from "../finding/finding.ts";
import { type FindingRule, findingsOf, rowsOf } from "../finding/finding-row.ts";
import { betweenPhrase } from "../finding/place-wording.ts";
import { count, nameList, verb } from "../finding/wording.ts";
import type { PlacedReceipt } from "../run/clean-receipt.ts";
import type { StreamFacts } from "../run/stream-facts.ts";
import type { SiteIndex } from "../site/site-index.ts";

/**
 * Packets that come more than once. Whoever gets copies lies behind the place that makes them, whoever gets every packet
 * once does not: the same reasoning as for silence, by the number of copies instead of what is missing.
 */
interface CopyCase {
  readonly facts: readonly StreamFacts[];
  readonly hit: readonly Counted[];
  /** Hosts that got the same streams once. */
  readonly spared: readonly string[];
  readonly suspects: readonly string[];
  readonly segments: readonly LinkSegment[];
  readonly source: string | null;
  readonly confidence: number;
}

/** What one listener got of one stream. */
interface Counted {
  readonly facts: StreamFacts;
  readonly receipt: PlacedReceipt;
  readonly packets: number;
  readonly copies: number;
}

/** A share of copies that is surely above this, and so many copies, are no chance. Common practice, no source. */
const COPY_FLOOR = 0.001;
const FEWEST_COPIES = 10;
/** Shares within this factor of each other are taken for one place's doing. Our choice, no source. */
const ALIKE = 0.5;

const row = rowsOf<CopyCase>({
  streams: ({ facts }) => facts.map(({ stream }) => stream.stream),
  suspects: ({ suspects }) => suspects,
  confidence: ({ confidence }) => confidence,
});

const streamsOf = ({ facts }: CopyCase): string[] => facts.map(({ stream }) => stream.stream);
const hostsOf = ({ hit }: CopyCase): string[] => [...new Set(hit.map(({ receipt }) => receipt.listener.host))];

const ROWS: readonly FindingRule<CopyCase>[] = [
  row({
    kind: "duplicates",
    match: (one) => one,
    title: (one) =>
      `${nameList(streamsOf(one))} ${verb(streamsOf(one), "come")} more than once at ${nameList(hostsOf(one))}, ${copiesInHundred(one)} copies to 100 packets: they are made ${placePhrase(one)}`,
    evidence: ({ hit, spared }) => [
      ...hit
        .slice(0, MOST_LINES)
        .map(
          ({ facts, receipt, packets, copies }) =>
            `${receipt.listener.host}: ${count(packets, "packet")} of ${facts.stream.stream}, and ${copies === 1 ? "1 copy" : `${copies} copies`} of them`,
        ),
      ...(spared.length === 0
        ? ["No listener of these streams got every packet once, so the copies may be made at the source itself."]
        : [`${nameList(spared)} got every packet once, or nearly.`]),
    ],
    advice:
      "Look for a loop (a link that spanning tree should block), for two cables or tunnels side by side that are not one bundle, for a port that mirrors back into the same VLAN, for a radio link or access point that sends again what was acknowledged, for two routers that both forward the group (see which of them won the assert), and for a source or relay that sends twice.",
    reference: "RFC 5560, section 3; for two routers RFC 7761, section 4.6",
  }),
];

const MOST_LINES = 5;

/** At the listener in the middle of those that were hit. */
function copiesInHundred({ hit }: CopyCase): number {
  const shares = hit.map(shareOf).sort((a, b) => a - b);
  return Number((100 * (shares[Math.floor(shares.length / 2)] ?? 0)).toPrecision(3));
}

function placePhrase({ segments, suspects, source }: CopyCase): string {
  const [first, last] = [segments[0], segments.at(-1)];
  if (source !== null) return `by ${source} itself, or on its way to the first branch`;
  return first === undefined || last === undefined
    ? `by ${suspects[0] ?? "an unknown node"}`
    : betweenPhrase(first, last);
}

const shareOf = ({ packets, copies }: Counted): number => copies / packets;

/**
 * One finding for each place that makes copies. The places that make most come first: whoever got theirs says nothing of
 * places that make fewer.
 */
export function findCopiedPackets(site: SiteIndex, streams: readonly StreamFacts[]): Finding[] {
  const all = streams.flatMap(countedIn);
  const cases: CopyCase[] = [];
  let open = all.filter((one) => isCopied(one, all.length));
  const explained = new Set<Counted>();
  while (open.length > 0) {
    const level = Math.max(...open.map(shareOf));
    const hit = open.filter((one) => shareOf(one) >= ALIKE * level);
    for (const one of hit) explained.add(one);
    open = open.filter((one) => !explained.has(one));
    const spared = all.filter((one) => !explained.has(one) && isSpared(one, level));
    cases.push(...casesOf(site, hit, spared));
  }
  return findingsOf(ROWS, cases);
}

function countedIn(facts: StreamFacts): Counted[] {
  return facts.receipts.flatMap((receipt) => {
    const { duplicatePackets = null, receivedPackets: packets } = receipt.listener;
    return duplicatePackets === null || packets === 0 ? [] : [{ facts, receipt, packets, copies: duplicatePackets }];
  });
}

const isCopied = ({ packets: trials, copies: hits }: Counted, tests: number): boolean =>
  hits >= FEWEST_COPIES && judgeProportion({ hits, trials }, COPY_FLOOR, tests) === "broken";

/** Surely less than half of what the others got. */
const isSpared = ({ packets: trials, copies: hits }: Counted, level: number): boolean =>
  judgeProportion({ hits, trials }, Math.min(1, level) * ALIKE) === "kept";

const THEN = { startMs: 0, endMs: 1 };

function casesOf(site: SiteIndex, hit: readonly Counted[], spared: readonly Counted[]): CopyCase[] {
  const outcomesOf = (facts: StreamFacts, list: readonly Counted[], isGood: boolean): PathTrial["outcomes"] =>
    list
      .filter((one) => one.facts === facts)
      .map(({ receipt }) => ({
        leaf: receipt.node,
        good: isGood ? THEN : null,
        bad: isGood ? null : THEN,
        marginMs: 0,
      }));
  const trials = [...new Set([...hit, ...spared].map(({ facts }) => facts))].map((facts) => ({
    facts,
    tree: facts.tree,
    groupKey: facts.groupKey,
    isSourceSpecific: facts.stream.ssm,
    payloadBytes: 0,
    // Reports have no part in it.
    members: null,
    outcomes: [...outcomesOf(facts, hit, false), ...outcomesOf(facts, spared, true)],
  }));
  const set = smallestFailureSet(site, trials);
  return set.failures.map((failure) => copyCase(site, failure, hit, spared, set.isExact));
}

interface CopyTrial extends PathTrial {
  readonly facts: StreamFacts;
}

/** What carries a packet on its way; whole cables and directions are the same places, and the other way makes no copies. */
const MAKES_COPIES: ReadonlySet<ElementKind> = new Set([
  "link",
  "link-group",
  "node",
  "node-group",
  "sender",
  "sender-group",
  "receiver",
  "receiver-group",
]);

function copyCase(
  site: SiteIndex,
  failure: NamedFailure<CopyTrial>,
  hit: readonly Counted[],
  spared: readonly Counted[],
  isExact: boolean,
): CopyCase {
  const isPair = ({ facts, receipt }: Counted): boolean =>
    failure.pairs.some(({ trial, outcome }) => trial.facts === facts && outcome.leaf === receipt.node);
  const own = hit.filter(isPair);
  const facts = [...new Set(own.map((one) => one.facts))];
  const elements = failure.elements.filter(({ kind }) => MAKES_COPIES.has(kind));
  const crossed = elements.filter(({ kind }) => kind === "link" || kind === "link-group").map(({ place }) => place);
  const sender = elements.find(({ kind }) => kind === "sender" || kind === "sender-group");
  return {
    facts,
    hit: own,
    spared: [...new Set(spared.filter((one) => facts.includes(one.facts)).map(({ receipt }) => receipt.listener.host))],
    suspects: elements.flatMap((element) => placeNames(site, element)),
    segments: [...new Set(crossed)].flatMap((segment) => site.segments[segment] ?? []),
    source: sender === undefined ? null : (site.nodes[sender.place]?.name ?? null),
    confidence: explanationConfidence(FINDING_KINDS.duplicates.confidence, failure, isExact),
  };
}
