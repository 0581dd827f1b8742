import { type SegmentLoad, type SiteGraph, segmentLoads, wireRateBps } from "@dyetrace/site";
import { Fault, formatRateBps, type Scenario, type ScenarioAction } from "@dyetrace/wire";
import { peakStreams } from "./confirm-load.ts";
import { type PlacedStream, placeStreams } from "./place-streams.ts";

/** Instants of a timeline that are worked out; of a longer one those with the highest rates. */
const MOST_INSTANTS = 64;

/** A link that a scenario would fill beyond its speed at some time. */
export interface Overload extends SegmentLoad {
  readonly utilisationRatio: number;
  readonly atNs: number;
}

/**
 * The segment that is loaded most beyond its speed, by the streams that are on at the same time; null where none is. Links
 * without a speed in the plan are unknown.
 */
export function overloadOf(graph: SiteGraph, scenario: Scenario): Overload | null {
  const isOver = ({ utilisationRatio }: SegmentLoad): boolean => (utilisationRatio ?? 0) > 1;
  // As if all were at their highest at the same time: mostly that fits, and nothing more is to be asked.
  if (!segmentLoads(graph, peakStreams(graph, scenario)).some(isOver)) return null;
  const over = busiestInstants(graph, scenario).flatMap(({ atNs, streams }) =>
    segmentLoads(graph, streams)
      .filter(isOver)
      .map((load): Overload => ({ ...load, utilisationRatio: load.utilisationRatio ?? 0, atNs })),
  );
  return over.sort((a, b) => b.utilisationRatio - a.utilisationRatio || a.atNs - b.atNs)[0] ?? null;
}

/** On live and practice sites alike, and whatever else is insisted on. @throws {Fault} LOAD_BEYOND_LINK: nothing can carry that, and whatever else uses the link would suffer */
export function refuseOverload(graph: SiteGraph, scenario: Scenario): void {
  const over = overloadOf(graph, scenario);
  if (over !== null) throw new Fault("LOAD_BEYOND_LINK", ...sayOverload(over));
}

/** @returns what would happen, with the arithmetic, and how to mend it */
export function sayOverload({ segment, loadBps, utilisationRatio, atNs }: Overload): [string, string] {
  const speedBps = segment.link.speedBps ?? 0;
  return [
    `${atNs / 1e9} s into the run its streams bring ${formatRateBps(loadBps)} onto ${segment.id}, headers, preamble and gap included, and the link carries ${formatRateBps(speedBps)}: ${Math.ceil(utilisationRatio * 100)} % of it`,
    "Make the rates smaller, or correct the link's speed in the site plan",
  ];
}

interface Instant {
  readonly atNs: number;
  readonly streams: readonly PlacedStream[];
}

function busiestInstants(graph: SiteGraph, scenario: Scenario): Instant[] {
  const known = new Map(placeStreams(graph, scenario).map((stream) => [stream.name, stream]));
  const on = new Set<string>();
  const instants: Instant[] = [];
  for (const [at, action] of scenario.timeline.entries()) {
    apply(action, known, on);
    if (scenario.timeline[at + 1]?.atNs === action.atNs) continue;
    instants.push({ atNs: action.atNs, streams: [...on].flatMap((name) => known.get(name) ?? []) });
  }
  const load = ({ streams }: Instant): number =>
    streams.reduce((sum, one) => sum + wireRateBps(one.rateBps, one.payloadBytes, one.group.includes(":") ? 6 : 4), 0);
  return instants.sort((a, b) => load(b) - load(a)).slice(0, MOST_INSTANTS);
}

function apply(action: ScenarioAction, known: Map<string, PlacedStream>, on: Set<string>): void {
  if (action.kind === "emit") on.add(action.stream);
  else if (action.kind === "stop") on.delete(action.stream);
  else if (action.kind === "set") {
    const stream = known.get(action.stream);
    if (stream === undefined) return;
    known.set(action.stream, {
      ...stream,
      rateBps: action.rateBps ?? stream.rateBps,
      payloadBytes: action.payloadBytes ?? stream.payloadBytes,
    });
  }
}
