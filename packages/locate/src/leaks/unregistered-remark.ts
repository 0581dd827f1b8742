import { count, nameList, seconds } from "../finding/wording.ts";
import type { SiteIndex } from "../site/site-index.ts";
import type { LeakSighting, StreamLeaks } from "./leak-sighting.ts";

/**
 * One remark about all that was flooded while no membership was in effect. A switch may forward a group that nobody has
 * joined out of all its ports (RFC 4541, section 2.1.2, rule 3), and most do, so nothing is wrong and nobody is accused.
 * @returns no remark or one
 */
export function unregisteredRemark(site: SiteIndex, leaks: readonly StreamLeaks[]): string[] {
  const sightings = leaks.flatMap(({ unregistered }) => unregistered);
  if (sightings.length === 0) return [];
  const nodes = sightings.flatMap(({ closedPorts }) => closedPorts.map((port) => site.segments[port]?.from.node ?? ""));
  const streams = sightings.map(({ facts }) => facts.stream.stream);
  const hosts = sightings.map(({ seen }) => seen.bystander.host);
  const [most, firstMs, lastMs] = extremes(sightings);
  const when = firstMs === null || lastMs === null ? "" : ` from ${seconds(firstMs)} to ${seconds(lastMs)} of the run`;
  return [
    `${nameList(nodes)} flooded ${nameList(streams)}${when}, ${whenPhrase(sightings)}: ${nameList(hosts)} saw up to ${count(most, "frame")}. A switch may flood a group that nobody has joined (RFC 4541, section 2.1.2), so this is no leak. Where such a flood does harm, set the switches to send unregistered groups to router ports only, and let listeners join before the stream starts.`,
  ];
}

const whenPhrase = (sightings: readonly LeakSighting[]): string =>
  sightings.every(({ pattern }) => pattern === "start-up")
    ? "before a join had taken effect there"
    : "only while no host was a member of the group";

type Extremes = readonly [mostFrames: number, firstMs: number | null, lastMs: number | null];

function extremes(sightings: readonly LeakSighting[]): Extremes {
  let [most, first, last] = [0, Number.POSITIVE_INFINITY, Number.NEGATIVE_INFINITY];
  for (const { seen } of sightings) {
    const { frames, firstMs, lastMs } = seen.bystander;
    most = Math.max(most, frames);
    first = Math.min(first, firstMs ?? first);
    last = Math.max(last, lastMs ?? last);
  }
  return [most, Number.isFinite(first) ? first : null, Number.isFinite(last) ? last : null];
}
