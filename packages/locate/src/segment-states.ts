import { planPlace } from "@dyetrace/site";
import { FINDING_KIND_NAMES, FINDING_KINDS } from "@dyetrace/wire";
import type { SegmentState, SegmentStatus } from "./conclusion.ts";
import { ProvenLater } from "./cover/proven-later.ts";
import type { StreamTrial } from "./cover/stream-trials.ts";
import type { Finding } from "./finding/finding.ts";
import { LOSS_FLOOR } from "./loss/loss-floor.ts";
import type { MeasuredChain } from "./loss/segment-loss.ts";
import type { SiteIndex } from "./site/site-index.ts";
import type { StopCase } from "./stops/stop-case.ts";

/** Kinds whose suspects bring nothing on, or more than came: they lose nothing that a rate would show. */
const UNSOUND_KINDS = FINDING_KIND_NAMES.filter(
  (kind) => FINDING_KINDS[kind].glyph === "stop" || kind === "duplicates",
);

/** The state of every segment and node of the plan, in the plan's order. */
export function segmentStates(
  site: SiteIndex,
  chains: readonly MeasuredChain[],
  stops: readonly StopCase[],
  findings: readonly Finding[],
  trials: readonly StreamTrial[],
): SegmentState[] {
  const stopped = new Set(stops.flatMap((stop) => stop.segments.map((segment) => segment.id)));
  const lossy = suspectsOf(findings, ["loses", "rate-limited"]);
  const leaking = suspectsOf(findings, ["leaks"]);
  // What nobody would have seen lost is not sound for want of a loss.
  const telling = chains.filter(({ parts }) => parts.some(({ hidesLoss }) => !hidesLoss));
  const proven = provenNodes(site, telling);
  // Packets came through before it failed, or of another group: that does not make a suspect sound.
  const suspected = suspectsOf(findings, UNSOUND_KINDS);
  for (const id of otherDirections(site, stops, trials)) suspected.add(id);
  for (const name of deafRouters(site, stops)) suspected.add(name);
  const [chainsOf, tellingOf] = [chainsBySegment(chains), chainsBySegment(telling)];
  const segments = site.segments.map(({ id }, number): SegmentState => {
    const rate = rateOf((lossy.has(id) ? chainsOf : tellingOf).get(number) ?? []);
    const status = statusOf(id, rate.high, stopped, lossy, leaking);
    return { id, ...rate, status: status === "ok" && suspected.has(id) ? "unknown" : status };
  });
  const nodes = site.nodes.map(({ name }, number): SegmentState => {
    const isSound = proven.has(number) && !suspected.has(name);
    const status = leaking.has(name) ? "leaks" : isSound ? "ok" : "unknown";
    return { id: name, lossRatio: null, low: null, high: null, status };
  });
  const all = [...withWholes(segments, site.wholeSegment), ...withWholes(nodes, site.wholeNode)];
  return withDoubt(all, suspected);
}

/** No suspect of a finding is called ok, also where weighing the findings, or other routes, gave further suspects. */
export const withDoubtOfSuspects = (states: readonly SegmentState[], findings: readonly Finding[]): SegmentState[] =>
  withDoubt(states, suspectsOf(findings, UNSOUND_KINDS));

/** What fails in one VLAN is not sound as a whole, and what fails as a whole is sound in no VLAN. */
function withDoubt(states: readonly SegmentState[], suspected: ReadonlySet<string>): SegmentState[] {
  const wholes = new Set([...suspected].map(planPlace));
  const isDoubted = (id: string): boolean => wholes.has(id) || suspected.has(id) || suspected.has(planPlace(id));
  return states.map((state) =>
    state.status === "ok" && isDoubted(state.id) ? { ...state, status: "unknown" } : state,
  );
}

/** Routers that may not hear the reports for want of which something stops: what comes through them proves no hearing. */
const deafRouters = (site: SiteIndex, stops: readonly StopCase[]): string[] =>
  stops.flatMap(({ reportSegments }) =>
    reportSegments.map(({ to }) => to.node).filter((name) => site.graph.nodes.get(name)?.kind === "router"),
  );

/**
 * Other directions of the links where something stops, along which nothing is known to have come since: a cable
 * that is cut fails both ways, and a host behind it fails with its cable.
 */
function otherDirections(site: SiteIndex, stops: readonly StopCase[], trials: readonly StreamTrial[]): string[] {
  if (stops.length === 0) return [];
  const proven = new ProvenLater(trials);
  return stops.flatMap(({ segments, silentPairs }) => {
    const sinceMs = Math.min(...silentPairs.map(({ atMs }) => atMs));
    return segments.flatMap(({ id }) => {
      const other = site.reverse[site.segmentNumber.get(id) ?? -1] ?? -1;
      return proven.has(other, sinceMs) ? [] : (site.segments[other]?.id ?? []);
    });
  });
}

/** The worst comes first: what a trunk or switch of several VLANs is called for the sake of one of them. */
const WORST_FIRST: readonly SegmentStatus[] = ["stops", "leaks", "loses", "ok", "unknown"];

/**
 * A trunk or switch as a whole is as its worst part; that some VLAN on it is not known takes nothing from the others. That
 * one of them is suspected does: see `withDoubt`.
 */
function withWholes(states: readonly SegmentState[], wholes: ReadonlyMap<number, number>): SegmentState[] {
  const statusesOf = new Map<number, SegmentStatus[]>();
  for (const [part, whole] of wholes) {
    statusesOf.set(whole, [...(statusesOf.get(whole) ?? []), states[part]?.status ?? "unknown"]);
  }
  return states.map((state, number) => {
    const statuses = [state.status, ...(statusesOf.get(number) ?? [])];
    return { ...state, status: WORST_FIRST.find((status) => statuses.includes(status)) ?? state.status };
  });
}

interface SegmentRate {
  readonly lossRatio: number | null;
  readonly low: number | null;
  readonly high: number | null;
}

/** A rate of its own where some stream has one for the segment alone; else the least upper limit of the chains it is in. */
function rateOf(chains: readonly MeasuredChain[]): SegmentRate {
  const own = chains.filter((chain) => chain.segments.length === 1);
  const narrowest = own.toSorted((a, b) => a.interval.high - a.interval.low - (b.interval.high - b.interval.low))[0];
  if (narrowest !== undefined) {
    const { lossRatio, low, high } = narrowest.interval;
    return { lossRatio, low, high };
  }
  const least = chains.reduce((lowest, { interval }) => Math.min(lowest, interval.high), Number.POSITIVE_INFINITY);
  return { lossRatio: null, low: null, high: chains.length === 0 ? null : least };
}

function chainsBySegment(chains: readonly MeasuredChain[]): Map<number, MeasuredChain[]> {
  const bySegment = new Map<number, MeasuredChain[]>();
  for (const chain of chains) {
    for (const segment of chain.segments) {
      const same = bySegment.get(segment);
      if (same === undefined) bySegment.set(segment, [chain]);
      else same.push(chain);
    }
  }
  return bySegment;
}

function statusOf(
  id: string,
  high: number | null,
  stopped: ReadonlySet<string>,
  lossy: ReadonlySet<string>,
  leaking: ReadonlySet<string>,
): SegmentStatus {
  if (stopped.has(id)) return "stops";
  if (lossy.has(id)) return "loses";
  if (leaking.has(id)) return "leaks";
  return high === null ? "unknown" : "ok";
}

/** Nodes through which packets came. */
function provenNodes(site: SiteIndex, chains: readonly MeasuredChain[]): Set<number> {
  return new Set(
    chains
      .filter((chain) => chain.interval.low <= LOSS_FLOOR)
      .flatMap((chain) => chain.segments.map((segment) => site.target[segment] ?? -1)),
  );
}

function suspectsOf(findings: readonly Finding[], kinds: readonly Finding["kind"][]): Set<string> {
  return new Set(findings.filter((finding) => kinds.includes(finding.kind)).flatMap((finding) => finding.suspects));
}
