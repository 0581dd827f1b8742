import { type AddressFamily, familyOf } from "../run/address-family.ts";
import type { RunObservations } from "../run/run-observations.ts";
import type { SiteIndex } from "../site/site-index.ts";

/** Streams that came to who had not joined them, since a querier asks. */
export interface DrawnStreams {
  readonly streams: readonly string[];
  readonly sightings: readonly { readonly host: string; readonly stream: string; readonly firstMs: number }[];
  /** The segments to those hosts. */
  readonly segments: readonly string[];
}

/** Frames that begin within this time of a querier's first query follow it, by clocks that differ by the rest. Common practice, no source. */
const FOLLOWS_MS = 1_000;
const CLOCKS_MS = 100;
const MOST_TOLD = 3;

/**
 * A switch opens a port for all groups once a query comes in by it (RFC 4541, section 2.1.2), so what lies behind it sees
 * them. Only a stream that flowed before, and was not seen there, tells that it was the query.
 */
export function drawnTo(
  { graph }: Pick<SiteIndex, "graph">,
  run: RunObservations,
  { family, hosts: watching, sinceMs }: { family: AddressFamily; hosts: readonly string[]; sinceMs: number },
): DrawnStreams {
  const flowing = new Set(
    run.streams
      .filter(({ group, firstSentMs }) => familyOf(group) === family && (firstSentMs ?? sinceMs) < sinceMs - FOLLOWS_MS)
      .map(({ stream }) => stream),
  );
  const sightings = run.bystanders.flatMap(({ host, stream, firstMs, isGroupUsedByHost }) => {
    if (firstMs === null || !flowing.has(stream) || isGroupUsedByHost === true || !watching.includes(host)) return [];
    if (firstMs < sinceMs - CLOCKS_MS || firstMs > sinceMs + FOLLOWS_MS) return [];
    const isMember = run.listeners.some((one) => one.host === host && one.stream === stream);
    return !isMember ? [{ host, stream, firstMs }] : [];
  });
  const hosts = new Set(sightings.map(({ host }) => host));
  return {
    streams: [...new Set(sightings.map(({ stream }) => stream))],
    sightings: sightings.slice(0, MOST_TOLD),
    segments: [...graph.segments.values()].filter(({ to }) => hosts.has(to.node)).map(({ id }) => id),
  };
}
