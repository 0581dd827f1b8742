import { countRanges, intersectRanges, subtractRanges } from "@dyetrace/measure";
import { type NamedFailure, smallestFailureSet } from "../cover/failure-set.ts";
import type { PathOutcome, PathTrial } from "../cover/path-trial.ts";
import type { StreamTrial } from "../cover/stream-trials.ts";
import type { PlacedReceipt } from "../run/clean-receipt.ts";
import type { ListenerObservation, SeqRange } from "../run/run-observations.ts";
import { sendTimeMs } from "../run/send-time.ts";
import type { StreamFacts } from "../run/stream-facts.ts";
import type { SiteIndex } from "../site/site-index.ts";

/** A gap too long to be chance, after which the stream came back, at one listener or the same at several. */
export interface Outage {
  readonly facts: StreamFacts;
  readonly numbers: SeqRange;
  /** With what single listeners missed just before and after: these losses have the same cause. */
  readonly around: SeqRange;
  readonly startMs: number;
  readonly endMs: number;
  readonly receipts: readonly PlacedReceipt[];
  readonly failure: NamedFailure<OutageTrial>;
  /** Listeners that received meanwhile. */
  readonly served: readonly PlacedReceipt[];
}

interface OutageTrial extends PathTrial {
  readonly outcomes: readonly PathOutcome[];
}

/** Shorter gaps are loss. Common practice, no source. */
const LEAST_PACKETS = 10;
const LEAST_MS = 100;
/** At a place that has outages, one so short is one more of them. Our choice, no source. */
const LEAST_PACKETS_MORE = 3;
/** With more short ones for each long one the place loses in bursts. Our choice, no source. */
const MOST_SHORT_EACH = 3;
/** A run of losses counts as an outage if independent losses would make one this long less often than this. Our choice, no source. */
const CHANCE = 1e-6;

interface Gap {
  readonly receipt: PlacedReceipt;
  readonly range: SeqRange;
  /** Too short to be an outage but where there are others. */
  readonly isShort: boolean;
}

/** Outages of one stream, in order of time. Final silences are stops, not outages. */
export function findOutages(site: SiteIndex, facts: StreamFacts, trials: readonly StreamTrial[]): Outage[] {
  const silences = silencesOf(trials.filter((trial) => trial.facts === facts));
  const gaps = facts.receipts.flatMap((receipt) =>
    longGaps(facts, receipt).filter(({ range }) => intersectRanges([range], silences.get(receipt) ?? []).length === 0),
  );
  gaps.sort((a, b) => a.range[0] - b.range[0]);
  const together: Gap[][] = [];
  for (const gap of gaps) {
    const same = together.findLast((group) => isSameGap(group[0]?.range ?? [0, 0], gap.range));
    if (same === undefined) together.push([gap]);
    else same.push(gap);
  }
  const isShort = (group: readonly Gap[]): boolean => group.every((gap) => gap.isShort);
  const outages = together.filter((group) => !isShort(group)).flatMap((group) => outagesOf(site, facts, group));
  const places = new Set(outages.map(placeKey));
  const more = together
    .filter(isShort)
    .flatMap((group) => outagesOf(site, facts, group))
    .filter((outage) => places.has(placeKey(outage)));
  return [...outages, ...more].sort((a, b) => a.numbers[0] - b.numbers[0]);
}

const placeKey = ({ failure }: Outage): string =>
  failure.elements.map(({ kind, place }) => `${kind} ${place}`).join(", ");

/** Numbers that count as a stop already: of the whole stream, or of one payload size. */
function silencesOf(trials: readonly StreamTrial[]): Map<PlacedReceipt, SeqRange[]> {
  const silences = new Map<PlacedReceipt, SeqRange[]>();
  for (const { outcomes, numbers } of trials) {
    for (const { receipt, silentFromSeq } of outcomes) {
      if (receipt === null || silentFromSeq === null) continue;
      const range: SeqRange = [Math.min(silentFromSeq, numbers[1]), numbers[1]];
      silences.set(receipt, [...(silences.get(receipt) ?? []), range]);
    }
  }
  return silences;
}

function longGaps(facts: StreamFacts, receipt: PlacedReceipt): Gap[] {
  const isRun = (range: SeqRange): boolean => range[1] - range[0] + 1 >= LEAST_PACKETS_MORE;
  // Hot path: of a million gaps nearly all are short.
  if (!receipt.lost.some(isRun)) return [];
  const runs = receipt.lost.filter(isRun);
  const isLong = ([first, last]: SeqRange): boolean => {
    if (last - first + 1 < LEAST_PACKETS) return false;
    const [startMs, endMs] = [sendTimeMs(facts.stream, first), sendTimeMs(facts.stream, last)];
    return startMs !== null && endMs !== null && endMs - startMs >= LEAST_MS;
  };
  const long = noChance(receipt, runs.filter(isLong));
  if (long.length === 0 || runs.length > (1 + MOST_SHORT_EACH) * long.length) {
    return long.map((range) => ({ receipt, range, isShort: false }));
  }
  const known = new Set(long);
  const all = new Set([...long, ...noChance(receipt, runs)]);
  return runs.filter((range) => all.has(range)).map((range) => ({ receipt, range, isShort: !known.has(range) }));
}

/** Those of some runs of losses that ended, and that independent losses as frequent as all the others would not make. */
function noChance(receipt: PlacedReceipt, runs: readonly SeqRange[]): readonly SeqRange[] {
  if (runs.length === 0) return [];
  const ordinary = (receipt.lostPackets - countRanges(runs)) / Math.max(1, receipt.sentPackets);
  return runs
    .filter(([, last]) => last < receipt.window[1])
    .filter((range) => !mayBeHostLoss(receipt.listener, range))
    .filter(([first, last]) => receipt.sentPackets * ordinary ** (last - first + 1) < CHANCE);
}

/** What the host dropped itself is no outage; where it tells only how much, it may have been this. */
function mayBeHostLoss({ hostLost, hostLostPackets }: ListenerObservation, [first, last]: SeqRange): boolean {
  const packets = last - first + 1;
  if (hostLost === undefined) return (hostLostPackets ?? 0) >= packets;
  return countRanges(intersectRanges([[first, last]], hostLost)) === packets;
}

/** What two gaps may begin and end apart and still be the same. Common practice, no source. */
const SLACK_PACKETS = 5;
const SLACK_SHARE = 0.1;

/** Begins and ends together. */
function isSameGap(a: SeqRange, b: SeqRange): boolean {
  const slack = SLACK_PACKETS + SLACK_SHARE * Math.max(a[1] - a[0], b[1] - b[0]);
  return Math.abs(a[0] - b[0]) <= slack && Math.abs(a[1] - b[1]) <= slack;
}

function outagesOf(site: SiteIndex, facts: StreamFacts, gaps: readonly Gap[]): Outage[] {
  const first = Math.max(...gaps.map((gap) => gap.range[0]));
  const last = Math.min(...gaps.map((gap) => gap.range[1]));
  const [startMs, endMs] = [sendTimeMs(facts.stream, first), sendTimeMs(facts.stream, last)];
  if (last < first || startMs === null || endMs === null) return [];
  const span = { startMs, endMs };
  const hit = new Set(gaps.map((gap) => gap.receipt));
  const served = facts.receipts.filter((receipt) => !hit.has(receipt) && receivedMost(receipt, [first, last]));
  const outcome = (receipt: PlacedReceipt, isGood: boolean): PathOutcome => ({
    leaf: receipt.node,
    good: isGood ? span : null,
    bad: isGood ? null : span,
    marginMs: 0,
  });
  const trial: OutageTrial = {
    tree: facts.tree,
    groupKey: facts.groupKey,
    payloadBytes: 0,
    members: facts.members,
    outcomes: [...[...hit].map((r) => outcome(r, false)), ...served.map((r) => outcome(r, true))],
  };
  return smallestFailureSet(site, [trial]).failures.map((failure) => {
    const leaves = new Set(failure.pairs.map((pair) => pair.outcome.leaf));
    const receipts = [...hit].filter((receipt) => leaves.has(receipt.node));
    const around = aroundOf(gaps.filter(({ receipt }) => leaves.has(receipt.node)));
    return { facts, numbers: [first, last], around, startMs, endMs, receipts, failure, served };
  });
}

/**
 * Half of the numbers within the receipt's window came: enough to say that the way was open. Of as many it must be able to
 * tell. Our choice, no source.
 */
function receivedMost({ listener, window, lost }: PlacedReceipt, numbers: SeqRange): boolean {
  const inWindow = intersectRanges([numbers], [window]);
  const expected = countRanges(inWindow);
  const told = countRanges(subtractRanges(inWindow, listener.unknown ?? []));
  return expected > 0 && told - countRanges(intersectRanges(lost, inWindow)) >= expected / 2;
}

/** What any of the listeners missed from the first of these gaps to the last, and next to them. */
function aroundOf(gaps: readonly Gap[]): SeqRange {
  let first = Math.min(...gaps.map(({ range }) => range[0]));
  let last = Math.max(...gaps.map(({ range }) => range[1]));
  const [from, to] = [first - SLACK_PACKETS, last + SLACK_PACKETS];
  for (const { receipt } of gaps) {
    for (const [start, end] of receipt.lost) {
      if (start > to) break;
      if (end < from) continue;
      first = Math.min(first, start);
      last = Math.max(last, end);
    }
  }
  return [first, last];
}
