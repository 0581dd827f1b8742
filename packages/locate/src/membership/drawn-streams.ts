import { type AddressFamily, familyOf } from "../run/address-family.ts";
import type { BystanderObservation, RunObservations } from "../run/run-observations.ts";
import type { SiteIndex } from "../site/site-index.ts";
import { nodesDownTo, sourceTree } from "../site/source-tree.ts";

/** Streams that came to who had not joined them, since a querier asks. */
export interface DrawnStreams {
  readonly streams: readonly string[];
  readonly sightings: readonly DrawnSighting[];
  /**
   * Where the querier sits by that: the port of the nearest switch above those hosts and what lies behind it, the port first.
   * It may sit further behind as well.
   */
  readonly segments: readonly string[];
}

export interface DrawnSighting {
  readonly host: string;
  readonly stream: string;
  readonly firstMs: number;
}

/** A querier that the plan does not have, in one family's domain. Times in ms of the run. */
export interface Drawing {
  readonly family: AddressFamily;
  /** Hosts of the domain that watched. */
  readonly hosts: readonly string[];
  readonly sinceMs: number;
  /** Until when switches take it to be there. */
  readonly untilMs: number;
  /** How long a switch that hears a new querier may flood, until all members have answered it. */
  readonly responseMs: number;
  /** The host that its queries went out of; null where it is not known. */
  readonly sender: string | null;
}

/** Frames that begin within this time of a querier's first query follow it, by clocks that differ by the rest. Common practice, no source. */
const FOLLOWS_MS = 1_000;
const CLOCKS_MS = 100;

/**
 * A switch opens a port for all groups once a query comes in by it (RFC 4541, section 2.1.2), so what lies behind it sees
 * them, from then on and to the end. One querier sits behind one port: what was seen behind several was not drawn there.
 */
export function drawnTo(site: SiteIndex, run: RunObservations, drawing: Drawing): DrawnStreams {
  const seen = sightingsOf(run, drawing).filter(({ isLasting }) => isLasting);
  const above = seen.map(({ host, stream }) => placesAbove(site, run, host, stream));
  const own = drawing.sender;
  const ofSender = own === null ? null : seen[0] === undefined ? [] : placesAbove(site, run, own, seen[0].stream);
  const [first = [], ...others] = ofSender === null ? above : [ofSender, ...above];
  const shared = first.filter((place) => others.every((places) => places.includes(place)));
  if (seen.length === 0 || shared.length === 0) return { streams: [], sightings: [], segments: [] };
  const ports = shared.filter((place) => place.includes(">"));
  return {
    streams: [...new Set(seen.map(({ stream }) => stream))],
    sightings: seen.map(({ host, stream, firstMs }) => ({ host, stream, firstMs })),
    segments: [...ports, ...shared.filter((place) => !ports.includes(place))],
  };
}

/** Whether a switch that had heard a new querier flooded this, until all members had answered that one. */
export const isFloodOfChange = (run: RunObservations, drawing: Drawing, host: string, stream: string): boolean =>
  sightingsOf(run, drawing).some((one) => one.host === host && one.stream === stream && !one.isLasting && one.isShort);

interface Sighting extends DrawnSighting {
  /** It went on for as long as the stream did, or the querier. */
  readonly isLasting: boolean;
  /** It ended as the members had answered. */
  readonly isShort: boolean;
}

/** What came to who had not joined it, and began as the querier did; or with the stream, where the querier was first. */
function sightingsOf(run: RunObservations, drawing: Drawing): Sighting[] {
  const { family, hosts, sinceMs, untilMs, responseMs } = drawing;
  const streams = new Map(
    run.streams.filter(({ group }) => familyOf(group) === family).map((stream) => [stream.stream, stream]),
  );
  return run.bystanders.flatMap((bystander): Sighting[] => {
    const { host, stream: name, firstMs, lastMs } = bystander;
    const stream = streams.get(name);
    if (stream === undefined || firstMs === null || lastMs === null || !hosts.includes(host)) return [];
    if (isMember(run, bystander)) return [];
    const fromMs = Math.max(sinceMs, stream.firstSentMs ?? sinceMs);
    if (firstMs < fromMs - CLOCKS_MS || firstMs > fromMs + FOLLOWS_MS) return [];
    const settledMs = fromMs + responseMs + FOLLOWS_MS;
    const endMs = Math.min(stream.lastSentMs ?? untilMs, untilMs);
    const isLasting = lastMs > settledMs && lastMs >= endMs - FOLLOWS_MS;
    return [{ host, stream: name, firstMs, isLasting, isShort: lastMs <= settledMs }];
  });
}

const isMember = (run: RunObservations, { host, stream, isGroupUsedByHost }: BystanderObservation): boolean =>
  isGroupUsedByHost === true || run.listeners.some((one) => one.host === host && one.stream === stream);

/** From the port of the nearest node that snoops down to a host: a hub gives all its ports what one of them is given. */
function placesAbove(site: SiteIndex, run: RunObservations, host: string, stream: string): string[] {
  const source = site.nodeNumber.get(run.streams.find((one) => one.stream === stream)?.source ?? "");
  const leaf = site.nodeNumber.get(host);
  if (source === undefined || leaf === undefined) return [];
  const tree = sourceTree(site, source);
  const places: string[] = [];
  for (const at of nodesDownTo(tree, leaf).toReversed()) {
    const segment = site.segments[tree.into[at] ?? -1]?.id;
    const above = site.nodes[tree.parent[at] ?? -1];
    if (segment === undefined || above === undefined) return places;
    places.unshift(segment);
    if (above.kind !== "unmanaged") return places;
    places.unshift(above.name);
  }
  return places;
}
