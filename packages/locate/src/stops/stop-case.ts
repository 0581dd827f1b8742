import { type LinkSegment, vlanOfPlace } from "@dyetrace/site";
import type { ClearedElements } from "../cover/cleared-elements.ts";
import { type ElementKind, type FailureElement, isOnNode, placeNames } from "../cover/failure-element.ts";
import type { FailureSet, NamedFailure } from "../cover/failure-set.ts";
import type { StreamTrial } from "../cover/stream-trials.ts";
import { type UnicastBeside, unicastBeside } from "../finding/companion-evidence.ts";
import { type Ageing, ageingOf } from "../membership/ageing.ts";
import { type LeaveCut, leaveThatCut } from "../membership/leave-cut.ts";
import type { MembershipContext } from "../membership/membership-context.ts";
import { familyOf } from "../run/address-family.ts";
import type { StreamFacts } from "../run/stream-facts.ts";
import { scopeOf } from "../run/stream-scope.ts";
import type { SiteIndex } from "../site/site-index.ts";
import type { ListenerChoices } from "../tell-apart/next-listener.ts";
import { type FailedSource, failedSourceOf } from "./failed-source.ts";
import type { ReceiptTallies } from "./receipt-tallies.ts";
import type { ServedReceipts } from "./served-receipts.ts";
import type { SilentPair } from "./silent-pair.ts";
import { type SizeBoundary, sizeBoundary } from "./size-boundary.ts";
import { type StopWitnesses, stopWitnesses } from "./stop-witnesses.ts";

/** One fault that silences somebody, with all that the rows and sentences need. */
export interface StopCase {
  readonly site: SiteIndex;
  readonly failure: NamedFailure<StreamTrial>;
  /** False when the search for the smallest explanation was cut short. */
  readonly isExact: boolean;
  readonly streams: readonly string[];
  readonly facts: readonly StreamFacts[];
  readonly silentPairs: readonly SilentPair[];
  readonly silentHosts: readonly string[];
  /** What everybody else says of these streams. */
  readonly witnesses: StopWitnesses;
  readonly suspects: readonly string[];
  /** Segments among the suspects along which the data flows; those of the likeliest class first, from the source downwards. */
  readonly segments: readonly LinkSegment[];
  /** Names of the nodes and hosts among the suspects. */
  readonly nodes: readonly string[];
  /** Segments against the data whose lost membership reports would look the same. */
  readonly reportSegments: readonly LinkSegment[];
  /** The one VLAN on a link that fails while others come through it; null where it is the whole link, or no VLAN is known. */
  readonly onlyVlan: number | null;
  /** Streams of other groups that came through the place; empty unless only group-specific causes are left. */
  readonly passingStreams: readonly string[];
  /** Set when only a router that fails one source is left. */
  readonly failedSource: FailedSource | null;
  /**
   * Routers that may lack a rendezvous point: set where all that is silent was joined without a source, while streams that
   * were joined with theirs come through the same place; null otherwise.
   */
  readonly anySourceRouters: readonly string[] | null;
  /** True when all that is silent was joined with its source, and streams joined without one come through. */
  readonly isSourceJoinOnly: boolean;
  /** Silent groups whose scope ends where a router is set up so, if a router is among the suspects. */
  readonly scopedGroups: readonly string[];
  /** Streams of other groups that came through the place with smaller packets, where that is all that can be said. */
  readonly smallerStreams: readonly string[];
  readonly size: SizeBoundary | null;
  /** Set when a neighbour's leave explains the silence. */
  readonly cut: LeaveCut | null;
  /** Set when a membership that nobody renewed explains it. */
  readonly ageing: Ageing | null;
  /** What became of unicast to the silent hosts. */
  readonly unicast: UnicastBeside;
  readonly choices: ListenerChoices;
}

/** What the stops of a run look up, each in its own part of it. */
export interface StopLookUps {
  readonly trials: readonly StreamTrial[];
  readonly receipts: ServedReceipts;
  readonly tallies: ReceiptTallies;
  readonly choices: ListenerChoices;
}

export function stopCase(
  site: SiteIndex,
  failure: NamedFailure<StreamTrial>,
  { trials, receipts, tallies, choices }: StopLookUps,
  { cleared, isExact }: Pick<FailureSet, "cleared" | "isExact">,
  membership: MembershipContext,
): StopCase {
  const silentPairs = failure.pairs.flatMap(({ trial, outcome: { receipt, silentFromSeq, bad } }) =>
    receipt === null || silentFromSeq === null || bad === null
      ? []
      : [{ trial, receipt, seq: silentFromSeq, atMs: bad.startMs, span: bad }],
  );
  const facts = distinct(silentPairs.map((pair) => pair.trial.facts));
  const silentHosts = distinct(silentPairs.map((pair) => pair.receipt.listener.host));
  const segments = segmentsCrossed(failure);
  const size = sizeBoundary(silentPairs, segments, trials, cleared);
  const isOnTheWay = (e: FailureElement): boolean => isOnNode(e.kind) || segments.includes(e.place);
  const besides = failure.elements.filter((e) => !isOnTheWay(e)).map(({ place }) => place);
  // What is lost beside the way are reports, and that silences every size.
  const elements = size === null ? failure.elements : failure.elements.filter(isOnTheWay);
  const names = distinct(elements.flatMap((element) => placeNames(site, element)));
  const isOfGroups = failure.elements.every((e) => e.groupKey !== null);
  const others = passing(segments, failure, facts, trials, cleared);
  return {
    site,
    failure,
    isExact,
    streams: facts.map((f) => f.stream.stream),
    facts,
    silentPairs,
    silentHosts,
    witnesses: stopWitnesses(facts, silentPairs, silentHosts, tallies),
    suspects: names,
    segments: segmentsOf(site, segments),
    nodes: names.filter((name) => site.nodeNumber.has(name)),
    reportSegments: segmentsOf(site, size === null ? besides : []),
    onlyVlan: onlyVlanOf(names),
    passingStreams: isOfGroups ? others : [],
    failedSource: failedSourceOf(failure, facts, trials),
    anySourceRouters: isOfGroups && isAnySource(facts, others, trials) ? routersAmong(site, failure) : null,
    isSourceJoinOnly: facts.every(({ stream }) => stream.ssm) && others.length > 0 && allAre(false, others, trials),
    scopedGroups:
      routersAmong(site, failure) === null
        ? []
        : distinct(facts.flatMap((one) => (scopeOf(one) === "zone" ? [one.stream.group] : []))),
    smallerStreams: isOfGroups || size !== null ? [] : others.filter((name) => isSmaller(name, silentPairs, trials)),
    size,
    cut: cutOf(site, silentPairs, () => receipts.servedNodes(facts, silentHosts, earliestOf(silentPairs)), membership),
    ageing: ageingOf(
      silentPairs.map(({ receipt, trial, atMs }) => ({
        listener: receipt.listener,
        group: trial.facts.stream.group,
        atMs,
      })),
      membership,
    ),
    choices,
    unicast: unicastBeside(
      silentPairs.map(({ receipt }) => receipt.listener),
      Math.min(...silentPairs.map(({ receipt }) => receipt.lostPackets / Math.max(1, receipt.sentPackets))),
    ),
  };
}

function onlyVlanOf(suspects: readonly string[]): number | null {
  const [first = ""] = suspects;
  const vlan = vlanOfPlace(first);
  return first.includes(">") && suspects.every((name) => vlanOfPlace(name) === vlan) ? vlan : null;
}

/** Segments that the silent data crosses; where only whole directions or cables explain it, those. */
function segmentsCrossed({ elements }: NamedFailure): number[] {
  const ofKinds = (kinds: readonly ElementKind[]): number[] =>
    distinct(elements.filter((e) => kinds.includes(e.kind)).map((e) => e.place));
  const crossed = ofKinds(["link", "link-group"]);
  return crossed.length > 0 ? crossed : ofKinds(["direction", "cable"]);
}

function cutOf(
  site: SiteIndex,
  silentPairs: readonly SilentPair[],
  servedNodes: () => readonly number[],
  { leaves, timersOf }: MembershipContext,
): LeaveCut | null {
  const [first] = silentPairs;
  if (first === undefined || silentPairs.some((pair) => pair.receipt.listener.receivedPackets === 0)) return null;
  const silent = silentPairs.map((pair) => pair.receipt.node);
  const { facts } = first.trial;
  return leaveThatCut(site, leaves, facts, silent, servedNodes(), first.atMs, timersOf(familyOf(facts.stream.group)));
}

/** Streams of other groups that came through the place of a fault: its first segment, or its node. */
function passing(
  segments: readonly number[],
  failure: NamedFailure,
  facts: readonly StreamFacts[],
  trials: readonly StreamTrial[],
  cleared: ClearedElements,
): string[] {
  const silent = new Set(facts.map((f) => f.groupKey));
  const node = failure.elements.find((e) => isOnNode(e.kind))?.place ?? -1;
  const through =
    segments.length > 0 ? segments.map((s) => cleared.groupsThrough("link", s)) : [cleared.groupsThrough("node", node)];
  const passes = ({ groupKey }: StreamTrial): boolean =>
    !silent.has(groupKey) && through.every((groups) => groups.includes(groupKey));
  return distinct(trials.filter(passes).map((trial) => trial.facts.stream.stream));
}

/** All that is silent was joined without a source, and of its family what comes through was joined with one. */
function isAnySource(
  silent: readonly StreamFacts[],
  others: readonly string[],
  trials: readonly StreamTrial[],
): boolean {
  const families = new Set(silent.map(({ stream }) => stream.group.includes(":")));
  const alike = trials.filter(
    ({ facts: { stream } }) => others.includes(stream.stream) && families.has(stream.group.includes(":")),
  );
  const areAll = alike.length > 0 && alike.every(({ facts: { stream } }) => stream.ssm);
  return areAll && silent.every(({ stream }) => !stream.ssm);
}

/** Null where none is. */
function routersAmong(site: SiteIndex, { elements }: NamedFailure): string[] | null {
  const routers = elements.flatMap(({ kind, place }) => {
    const node = isOnNode(kind) ? site.nodes[place] : undefined;
    return node?.kind === "router" ? [node.name] : [];
  });
  return routers.length === 0 ? null : distinct(routers);
}

/** All of these streams are joined with their source, or all without. */
const allAre = (isWithSource: boolean, streams: readonly string[], trials: readonly StreamTrial[]): boolean =>
  trials.every(({ facts: { stream } }) => !streams.includes(stream.stream) || stream.ssm === isWithSource);

/** All that this stream sent was smaller than everything that failed. */
function isSmaller(stream: string, silentPairs: readonly SilentPair[], trials: readonly StreamTrial[]): boolean {
  const failing = silentPairs.reduce(
    (least, { trial }) => Math.min(least, trial.payloadBytes),
    Number.POSITIVE_INFINITY,
  );
  return trials.every((trial) => trial.facts.stream.stream !== stream || trial.payloadBytes < failing);
}

/** When the first of these silences began. */
const earliestOf = (pairs: readonly SilentPair[]): number =>
  pairs.reduce((earliest, { atMs }) => Math.min(earliest, atMs), Number.POSITIVE_INFINITY);

const segmentsOf = (site: SiteIndex, numbers: readonly number[]): LinkSegment[] =>
  distinct(numbers).flatMap((number) => site.segments[number] ?? []);

function distinct<T>(items: readonly T[]): T[] {
  return [...new Set(items)];
}
