import type { SiteGraph } from "@dyetrace/site";
import type { Conclusion } from "./conclusion.ts";
import type { StreamTrial } from "./cover/stream-trials.ts";
import { weighByDevices } from "./devices/weigh-by-devices.ts";
import { withoutCleared } from "./devices/without-cleared.ts";
import { cheapestConclusion } from "./equal-routes.ts";
import type { Finding } from "./finding/finding.ts";
import { findHostFaults } from "./hosts/host-faults.ts";
import { linkRemarks, withLinkChanges } from "./hosts/link-changes.ts";
import { findShortSources } from "./hosts/short-sources.ts";
import { findSilentSources } from "./hosts/silent-sources.ts";
import { findSourceStalls } from "./hosts/source-stalls.ts";
import { findLeaks, type Leaks } from "./leaks/find-leaks.ts";
import { findLoss } from "./loss/find-loss.ts";
import { isAnyLostIn, lossScope } from "./loss/loss-scope.ts";
import { type MeasuredChain, measuredChains } from "./loss/segment-loss.ts";
import { type LossScope, streamLoss } from "./loss/stream-loss.ts";
import { findHostsInOtherVlans } from "./membership/hosts-in-other-vlans.ts";
import { leavesOf } from "./membership/leave-cut.ts";
import { LeaveWitness } from "./membership/leave-signs.ts";
import type { MembershipContext } from "./membership/membership-context.ts";
import { findNoQuerier } from "./membership/no-querier.ts";
import { domainVersions, findOlderVersions, versionRemarks } from "./membership/older-version.ts";
import { auditQueriers, unaddressedRemarks } from "./membership/querier-audit.ts";
import { timersOf } from "./membership/querier-timing.ts";
import { QueryView } from "./membership/query-view.ts";
import { findSlowQueriers, slowQuerierRemarks } from "./membership/slow-querier.ts";
import { findTwoQueriers } from "./membership/two-queriers.ts";
import { drawnByQueriers, findWrongQueriers } from "./membership/wrong-querier.ts";
import { findOutages, type Outage } from "./outages/outage.ts";
import { outageFindings } from "./outages/outage-findings.ts";
import { withLesserLosses } from "./outages/with-lesser-losses.ts";
import { findChangedPackets } from "./packets/changed-packets.ts";
import { findCopiedPackets } from "./packets/copied-packets.ts";
import { findForeignPackets } from "./packets/foreign-packets.ts";
import { findOtherWays, withDoubtOfWays } from "./plan/other-way.ts";
import { findPlanMismatch } from "./plan/plan-mismatch.ts";
import { findSharedGaps } from "./plan/shared-gaps.ts";
import { withUntoldWays } from "./plan/untold-ways.ts";
import { isAnyWayDearer, wayRemarks } from "./plan/way-remarks.ts";
import { routeCombinations } from "./route-choices.ts";
import { once } from "./run/once.ts";
import type { RunObservations } from "./run/run-observations.ts";
import { type StreamFacts, streamFacts } from "./run/stream-facts.ts";
import { segmentStates, withDoubtOfSuspects } from "./segment-states.ts";
import { indexSite, type SiteIndex } from "./site/site-index.ts";
import { findStops, type Stops } from "./stops/find-stops.ts";
import { coverage } from "./tell-apart/coverage.ts";
import type { Accused } from "./witness/supposition.ts";
import { isAccusation, weighFindings } from "./witness/weigh-findings.ts";

/**
 * Names what stops, loses or leaks, as closely as the agents' places allow.
 * Pure: the same observations give the same conclusion.
 */
export function locate(graph: SiteGraph, observations: RunObservations): Conclusion {
  const sites = combinationsOf(graph, observations).map((one) => indexSite(graph, one));
  const drawn = sites.map((site) => locateOn(site, graph, observations));
  const conclusion = cheapestConclusion(drawn.map((one) => one.conclusion));
  const fewest = conclusion.findings.length;
  const chosen = drawn.findIndex((one) => one.conclusion.findings.length === fewest);
  const { streams = [] } = drawn[chosen] ?? {};
  const weighed = weighFindings(graph, observations, { streams, findings: conclusion.findings }, accuse);
  const read = weighByDevices(sites[chosen] ?? indexSite(graph), observations, streams, weighed);
  const findings = withLinkChanges(read, observations);
  return {
    ...conclusion,
    remarks: [...conclusion.remarks, ...linkRemarks(findings, observations)],
    findings: findings.map(({ witnesses: _, contradictions: __, ...finding }) => finding),
    segments: withDoubtOfSuspects(withoutCleared(conclusion.segments, weighed, findings), findings),
  };
}

const combinationsOf = (graph: SiteGraph, observations: RunObservations): SiteIndex["alternatives"][] =>
  routeCombinations(
    graph,
    observations.streams.map((stream) => stream.source),
    observations,
  );

/** What rests on hosts' places and words, on the routes that need fewest of it. */
function accuse(graph: SiteGraph, observations: RunObservations): Accused {
  const [first, ...others] = combinationsOf(graph, observations).map((one) =>
    accusedOf(accusationsOn(indexSite(graph, one), observations)),
  );
  if (first === undefined) throw new RangeError("A site has one combination of routes at least");
  return others.reduce((fewest, one) => (one.findings.length < fewest.findings.length ? one : fewest), first);
}

function accusedOf(accusations: Accusations): Accused {
  const findings = once(() => withLosses(accusations).filter(isAccusation));
  return {
    streams: accusations.streams,
    faults: [...accusations.stops.findings, ...accusations.outages, ...accusations.leaks.findings].filter(isAccusation),
    get findings() {
      return findings();
    },
  };
}

interface Accusations {
  readonly streams: readonly StreamFacts[];
  readonly stops: Stops;
  readonly gaps: readonly Outage[];
  /** Findings about the gaps. */
  readonly outages: readonly Finding[];
  readonly leaks: Leaks;
  readonly chains: () => readonly MeasuredChain[];
  /** Findings about losses, which take long and are not always asked for. */
  readonly losses: () => readonly Finding[];
}

function withLosses({ streams, stops, gaps, leaks, ...thin }: Accusations): Finding[] {
  const { outages, losses } = withLesserLosses(streams, gaps, { outages: thin.outages, losses: thin.losses() });
  return [...stops.findings, ...outages, ...losses, ...leaks.findings];
}

/** On the ways that the index names where there are several. */
function accusationsOn(site: SiteIndex, observations: RunObservations): Accusations {
  const streams = streamFacts(site, observations);
  const membership: MembershipContext = {
    leaves: leavesOf(site, observations),
    leaveSigns: new LeaveWitness(site, observations),
    queries: new QueryView(site, observations),
    timersOf: (family) => timersOf(observations, family),
    drawn: once(() => drawnByQueriers(site, observations)),
  };
  const stops = findStops(site, streams, membership);
  const gaps = streams.flatMap((facts) => findOutages(site, facts, stops.trials));
  // The segments' rates count all that was lost; findings about loss only what outages do not say already.
  const whole = once(() => scopesWithout([], streams, stops.trials));
  const chains = once(() => chainsIn(whole()));
  const losses = once(() => {
    const rest = gaps.length === 0 ? whole() : scopesWithout(gaps, streams, stops.trials);
    // Where nobody lost any more than that, no rate is too high.
    if (![...rest].some(([facts, scope]) => isAnyLostIn(facts, scope))) return [];
    const found = findLoss(site, gaps.length === 0 ? chains() : chainsIn(rest), rest);
    return [...found, ...findSharedGaps(streams, found)];
  });
  const leaks = findLeaks(site, streams, membership);
  const outages = outageFindings(site, gaps, membership);
  return { streams, stops, gaps, outages, leaks, chains, losses };
}

interface Drawn {
  readonly streams: readonly StreamFacts[];
  readonly conclusion: Conclusion;
}

function locateOn(site: SiteIndex, graph: SiteGraph, observations: RunObservations): Drawn {
  const accusations = accusationsOn(site, observations);
  const { streams, chains, stops, leaks } = accusations;
  const versions = domainVersions(site, observations);
  const mismatches = [...findPlanMismatch(site, streams), ...findOtherWays(site, streams)];
  const found = [
    ...findSilentSources(streams),
    ...withUntoldWays(site, streams, withLosses(accusations)),
    ...findHostFaults(streams),
    ...findSourceStalls(streams),
    ...findCopiedPackets(site, streams),
    ...findShortSources(streams),
    ...findChangedPackets(site, streams),
    ...findNoQuerier(site, observations),
    ...findTwoQueriers(site, observations),
    ...findWrongQueriers(site, observations),
    ...findSlowQueriers(site, observations),
    ...findOlderVersions(versions),
    ...findHostsInOtherVlans(site, observations),
    ...findForeignPackets(streams),
  ];
  const isDoubtful = isAnyWayDearer(site, streams);
  const findings = [...(isDoubtful ? withDoubtOfWays(found) : found), ...mismatches];
  const sources = observations.streams.map((stream) => stream.source);
  const listeners = observations.listeners.filter((l) => l.state === "reported").map((l) => l.host);
  const conclusion = {
    findings,
    segments: segmentStates(site, chains(), stops.cases, findings, stops.trials),
    coverage: coverage(graph, sources, listeners),
    queriers: auditQueriers(site, observations),
    remarks: [
      ...leaks.remarks,
      ...wayRemarks(site, streams),
      ...versionRemarks(observations, versions),
      ...slowQuerierRemarks(site, observations),
      ...unaddressedRemarks(site, observations),
    ],
  };
  return { streams, conclusion };
}

type Scopes = ReadonlyMap<StreamFacts, LossScope>;

const chainsIn = (scopes: Scopes): MeasuredChain[] =>
  measuredChains([...scopes].flatMap(([facts, scope]) => streamLoss(facts, scope)));

function scopesWithout(
  outages: readonly Outage[],
  streams: readonly StreamFacts[],
  trials: readonly StreamTrial[],
): Scopes {
  return new Map(
    streams.map((facts) => {
      const own = outages.filter((outage) => outage.facts === facts).map((outage) => outage.around);
      return [facts, lossScope(facts, trials, own)];
    }),
  );
}
