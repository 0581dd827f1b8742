import { hasRadio, type SiteGraph } from "@dyetrace/site";
import { formatCount } from "@dyetrace/wire";

/** Packets of one stream in a second; where a radio is about, on which small packets take nearly as long as large ones, fewer. Our choice, no source. */
const MOST_PER_S = 2_000;
const MOST_PER_S_BY_RADIO = 200;

/** Packets of each stream in a second of a test burst, at most. */
export const mostBurstPerS = (graph: SiteGraph): number => (hasRadio(graph) ? MOST_PER_S_BY_RADIO : MOST_PER_S);

/** What may follow a run that asks for bursts, before anything is sent. */
export const burstsAhead = (graph: SiteGraph): string =>
  `Where other traffic hides the run from the devices' counters, one burst of test packets of 2 s follows it, to the same groups and listeners, with ${formatCount(mostBurstPerS(graph))} packets per second of each stream and the streams' own rates at most`;
