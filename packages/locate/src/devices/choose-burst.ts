import { planPlace, type SiteGraph } from "@dyetrace/site";
import type { Finding } from "../finding/finding.ts";
import type { DeviceObservation, PortCount } from "../run/device-observations.ts";
import { OF_THE_WAY } from "./findings-of-the-way.ts";
import { type Noise, noiseVariance } from "./noise.ts";

/** Frames stand out of the noise by so many standard deviations. Our choice, no source. */
const STANDS_OUT = 8;

/** A number of frames that a counter shows whatever else passes. */
export interface ChosenBurst {
  /** Of each stream. */
  readonly packets: number;
  /** Streams of findings whose suspects counters might part. */
  readonly streams: readonly string[];
  /** The noisiest port beside the suspects, frames per second of others. */
  readonly port: string;
  readonly othersPerS: number;
}

/**
 * Whether a burst of test packets would let counters tell what other traffic hid, and of how many.
 * @param sent packets of each stream in the run, by its name
 * @param spanS between the readings before and after the burst
 * @returns null where nothing is left to part, nothing was counted beside the suspects, or the run's own packets stood out already
 */
export function chooseBurst(
  graph: SiteGraph,
  findings: readonly Pick<Finding, "kind" | "suspects" | "streams">[],
  devices: readonly DeviceObservation[],
  sent: ReadonlyMap<string, number>,
  spanS: number,
): ChosenBurst | null {
  const open = findings.filter(({ kind, suspects }) => OF_THE_WAY.has(kind) && suspects.length > 1);
  const streams = [...new Set(open.flatMap((finding) => finding.streams))];
  const places = new Set(open.flatMap(({ suspects }) => suspects.map(planPlace)));
  const ends = [...graph.segments.values()]
    .filter(({ id, from, to }) =>
      [planPlace(id), planPlace(from.node), planPlace(to.node)].some((one) => places.has(one)),
    )
    .flatMap(({ from, to }) => [
      { ...from, side: "out" as const },
      { ...to, side: "in" as const },
    ]);
  let noisiest: { readonly port: string; readonly count: PortCount } | null = null;
  for (const { node, port, side } of ends) {
    const ports = devices.find((device) => device.node === planPlace(node))?.ports ?? [];
    for (const one of ports.filter((each) => each.port === port)) {
      const count = one[side];
      if (count === null || count.quietPerS === null) continue;
      if (count.quietPerS > (noisiest?.count.quietPerS ?? -1)) noisiest = { port: `${planPlace(node)}:${port}`, count };
    }
  }
  if (noisiest === null || streams.length === 0) return null;
  const { count, port } = noisiest;
  const runS = Math.max(0, count.toMs - count.fromMs) / 1000;
  const fewest = Math.min(...streams.map((stream) => sent.get(stream) ?? 0));
  if (fewest >= framesThatStandOut(count, runS)) return null;
  return { packets: framesThatStandOut(count, spanS), streams, port, othersPerS: count.quietPerS ?? 0 };
}

/** @returns frames */
export const framesThatStandOut = (noise: Noise, spanS: number): number =>
  Math.ceil(STANDS_OUT * Math.sqrt(noiseVariance(noise, spanS)));
