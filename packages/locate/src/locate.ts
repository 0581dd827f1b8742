import type { SiteGraph } from "@dyetrace/site";
import type { Conclusion } from "./conclusion.ts";
import type { StreamTrial } from "./cover/stream-trials.ts";
import { cheapestConclusion } from "./equal-routes.ts";
import type { Finding } from "./finding/finding.ts";
import { findHostFaults } from "./hosts/host-faults.ts";
import { findShortSources } from "./hosts/short-sources.ts";
import { findSilentSources } from "./hosts/silent-sources.ts";
import { findSourceStalls } from "./hosts/source-stalls.ts";
import { findLeaks, type Leaks } from "./leaks/find-leaks.ts";
import { findLoss } from "./loss/find-loss.ts";
import { lossScope } from "./loss/loss-scope.ts";
import { type MeasuredChain, measuredChains } from "./loss/segment-loss.ts";
import { type LossScope, streamLoss } from "./loss/stream-loss.ts";
import { leavesOf } from "./membership/leave-cut.ts";
import type { MembershipContext } from "./membership/membership-context.ts";
import { findNoQuerier } from "./membership/no-querier.ts";
import { timersOf } from "./membership/querier-timing.ts";
import { QueryView } from "./membership/query-view.ts";
import { findTwoQueriers } from "./membership/two-queriers.ts";
import { findOutages, type Outage } from "./outages/outage.ts";
import { outageFindings } from "./outages/outage-findings.ts";
import { findChangedPackets } from "./packets/changed-packets.ts";
import { findCopiedPackets } from "./packets/copied-packets.ts";
import { findForeignPackets } from "./packets/foreign-packets.ts";
import { findOtherWays, withDoubtOfWays } from "./plan/other-way.ts";
import { findPlanMismatch } from "./plan/plan-mismatch.ts";
import { findSharedGaps } from "./plan/shared-gaps.ts";
import { withUntoldWays } from "./plan/untold-ways.ts";
import { isAnyWayDearer, wayRemarks } from "./plan/way-remarks.ts";
import { routeCombinations } from "./route-choices.ts";
import type { RunObservations } from "./run/run-observations.ts";
import { type StreamFacts, streamFacts } from "./run/stream-facts.ts";
import { segmentStates, withDoubtOfSuspects } from "./segment-states.ts";
import { indexSite, type SiteIndex } from "./site/site-index.ts";
import { findStops, type Stops } from "./stops/find-stops.ts";
import { coverage } from "./tell-apart/coverage.ts";
import { isAccusation, weighFindings } from "./witness/weigh-findings.ts";

/**
 * Names what stops, loses or leaks, as closely as the agents' places allow.
 * Pure: the same observations give the same conclusion.
 */
export function locate(graph: SiteGraph, observations: RunObservations): Conclusion {
  const sites = combinationsOf(graph, observations).map((one) => indexSite(graph, one));
  const conclusion = cheapestConclusion(sites.map((site) => locateOn(site, graph, observations)));
  const findings = weighFindings(graph, observations, conclusion.findings, accuse);
  return {
    ...conclusion,
    findings: findings.map(({ witnesses: _, contradictions: __, ...finding }) => finding),
    segments: withDoubtOfSuspects(conclusion.segments, findings),
  };
}

const combinationsOf = (graph: SiteGraph, observations: RunObservations): SiteIndex["alternatives"][] =>
  routeCombinations(
    graph,
    observations.streams.map((stream) => stream.source),
    observations,
  );

/** What rests on hosts' places and words, on the routes that need fewest of it. */
function accuse(graph: SiteGraph, observations: RunObservations): readonly Finding[] {
  return combinationsOf(graph, observations)
    .map((one) => accusationsOn(indexSite(graph, one), observations).accusations.filter(isAccusation))
    .reduce((fewest, one) => (one.length < fewest.length ? one : fewest));
}

interface Accusations {
  readonly streams: readonly StreamFacts[];
  readonly chains: readonly MeasuredChain[];
  readonly stops: Stops;
  readonly leaks: Leaks;
  readonly accusations: readonly Finding[];
}

/** On the ways that the index names where there are several. */
function accusationsOn(site: SiteIndex, observations: RunObservations): Accusations {
  const streams = streamFacts(site, observations);
  const membership: MembershipContext = {
    leaves: leavesOf(site, observations),
    queries: new QueryView(site, observations),
    timersOf: (family) => timersOf(observations, family),
  };
  const stops = findStops(site, streams, membership);
  const outages = streams.flatMap((facts) => findOutages(site, facts, stops.trials));
  const isOutageFree = outages.length === 0;
  // The segments' rates count all that was lost; findings about loss only what outages do not say already.
  const whole = new Map(streams.map((facts) => [facts, lossScope(facts, stops.trials, [])]));
  const rest = isOutageFree ? whole : scopesWithout(outages, streams, stops.trials);
  const chains = chainsIn(whole);
  const chainsOfRest = isOutageFree ? chains : chainsIn(rest);
  const leaks = findLeaks(site, streams, membership);
  const losses = findLoss(site, chainsOfRest, rest);
  const accusations = [
    ...stops.findings,
    ...outageFindings(site, outages, membership),
    ...losses,
    ...findSharedGaps(streams, losses),
    ...leaks.findings,
  ];
  return { streams, chains, stops, leaks, accusations };
}

function locateOn(site: SiteIndex, graph: SiteGraph, observations: RunObservations): Conclusion {
  const { streams, chains, stops, leaks, accusations } = accusationsOn(site, observations);
  const mismatches = [...findPlanMismatch(site, streams), ...findOtherWays(site, streams)];
  const found = [
    ...findSilentSources(streams),
    ...withUntoldWays(site, streams, accusations),
    ...findHostFaults(streams),
    ...findSourceStalls(streams),
    ...findCopiedPackets(site, streams),
    ...findShortSources(streams),
    ...findChangedPackets(site, streams),
    ...findNoQuerier(site, observations),
    ...findTwoQueriers(site, observations),
    ...findForeignPackets(streams),
  ];
  const isDoubtful = isAnyWayDearer(site, streams);
  const findings = [...(isDoubtful ? withDoubtOfWays(found) : found), ...mismatches];
  const sources = observations.streams.map((stream) => stream.source);
  const listeners = observations.listeners.filter((l) => l.state === "reported").map((l) => l.host);
  return {
    findings,
    segments: segmentStates(site, chains, stops.cases, findings, stops.trials),
    coverage: coverage(graph, sources, listeners),
    remarks: [...leaks.remarks, ...wayRemarks(site, streams)],
  };
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
      const own = outages.filter((outage) => outage.facts === facts).map((outage) => outage.numbers);
      return [facts, lossScope(facts, trials, own)];
    }),
  );
}
