import type { PortCount } from "../run/device-observations.ts";

/** How far a rate before the run may be from that in it, as a share. Our estimate, no source. */
const RATE_CHANGE = 0.3;
/** Frames that nobody foretells: a query, an announcement, a discovery. Our estimate, no source. */
const STRAY_FRAMES = 3;

/** What a port's other traffic was while nothing of ours was sent. */
export type Noise = Pick<PortCount, "quietPerS" | "quietS" | "skewMs">;

/**
 * Variance, in frames squared, of what a port counts beside our own frames in a time: of the site's own traffic by chance, of its
 * rate that was measured for a while only and may have changed since, and of what passed between the two ends of a reading.
 */
export function noiseVariance({ quietPerS, quietS, skewMs }: Noise, spanS: number): number {
  const quiet = quietPerS ?? 0;
  const site = quiet * spanS;
  const ofQuiet = quietS > 0 ? (quiet * spanS * spanS) / quietS : 0;
  const skew = (quiet * skewMs) / 1000;
  return site + ofQuiet + (RATE_CHANGE * site) ** 2 + skew ** 2 + STRAY_FRAMES ** 2;
}
