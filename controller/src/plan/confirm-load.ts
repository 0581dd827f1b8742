import { type SiteGraph, segmentLoads, wireRateBps } from "@dyetrace/site";
import { Fault, formatRateBps, type Scenario } from "@dyetrace/wire";
import { type PlacedStream, placeStreams } from "./place-streams.ts";

/** Above this share of a link's speed whoever starts a run says so in words (common practice, no source). */
export const CONFIRM_ABOVE_RATIO = 0.3;

/** A segment that a run would load above that share. */
export interface HeavyLoad {
  readonly segment: string;
  readonly loadBps: number;
  readonly speedBps: number;
  readonly utilisationRatio: number;
}

/** A scenario's streams, each at the rate and size at which it takes most of a link. */
export const peakStreams = (graph: SiteGraph, scenario: Scenario): PlacedStream[] =>
  placeStreams(graph, scenario).flatMap((stream) => {
    if (stream.production !== undefined) return []; // it flows whether anybody looks or not, and nobody knows how much
    const load = (rateBps: number, payloadBytes: number): number =>
      wireRateBps(rateBps, payloadBytes, stream.group.includes(":") ? 6 : 4);
    let peak = stream;
    let now = stream;
    for (const action of scenario.timeline) {
      if (action.kind !== "set" || action.stream !== stream.name) continue;
      now = {
        ...now,
        rateBps: action.rateBps ?? now.rateBps,
        payloadBytes: action.payloadBytes ?? now.payloadBytes,
      };
      if (load(now.rateBps, now.payloadBytes) > load(peak.rateBps, peak.payloadBytes)) peak = now;
    }
    return [peak];
  });

/** Heaviest first. Links without a speed in the plan are not among them: their share is unknown. */
export function heavyLoads(graph: SiteGraph, scenario: Scenario): HeavyLoad[] {
  return segmentLoads(graph, peakStreams(graph, scenario))
    .flatMap(({ segment, loadBps, utilisationRatio }) => {
      const { speedBps } = segment.link;
      return speedBps === null || utilisationRatio === null || utilisationRatio <= CONFIRM_ABOVE_RATIO
        ? []
        : [{ segment: segment.id, loadBps, speedBps, utilisationRatio }];
    })
    .sort((a, b) => b.utilisationRatio - a.utilisationRatio);
}

/** Segments that the scenario loads and of which the plan does not say how fast they are. */
export const unknownShares = (graph: SiteGraph, scenario: Scenario): number =>
  segmentLoads(graph, peakStreams(graph, scenario)).filter(({ utilisationRatio }) => utilisationRatio === null).length;

/** What must be said: the place and the share, so that nobody says it without having read it. */
export const confirmationOf = ({ segment, utilisationRatio }: HeavyLoad): string =>
  `load ${segment} to ${Math.ceil(utilisationRatio * 100)} %`;

/** @param said what whoever starts the run has written, if anything @throws {Fault} LOAD_UNCONFIRMED */
export function refuseUnconfirmedLoad(graph: SiteGraph, scenario: Scenario, said: string | undefined): void {
  const loads = heavyLoads(graph, scenario);
  const [heaviest] = loads;
  if (heaviest === undefined) return;
  const words = confirmationOf(heaviest);
  if (said?.trim().replace(/\s+/g, " ") === words) return;
  const { segment, loadBps, speedBps } = heaviest;
  const others =
    loads.length === 1 ? "" : `, and ${loads.length - 1} more segments above ${CONFIRM_ABOVE_RATIO * 100} %`;
  throw new Fault(
    "LOAD_UNCONFIRMED",
    `This run brings ${formatRateBps(loadBps)} onto ${segment}, ${Math.ceil(heaviest.utilisationRatio * 100)} % of its ${formatRateBps(speedBps)}${others}`,
    `Whoever may decide that says so in these words: ${words}`,
  );
}
