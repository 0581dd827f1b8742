import type { ReportMedia } from "./report-media-schema.ts";
import type { RunReport } from "./report-schema.ts";

type TransportStream = NonNullable<ReportMedia["transportStream"]>;

/** What viewers would have noticed, one row for each stream and listener: for the page and the terminal alike. */
export interface MediaRow {
  readonly stream: string;
  readonly listener: string;
  readonly errorFree: string | null;
  readonly troubles: string;
  readonly clock: string | null;
  readonly tables: string | null;
}

export const mediaRows = ({ media = [] }: Pick<RunReport, "media">): MediaRow[] =>
  media.map((one) => ({
    stream: one.stream,
    listener: one.listener,
    errorFree:
      one.seconds === null || one.errorFreeSeconds === null ? null : `${one.errorFreeSeconds} of ${one.seconds}`,
    troubles: troublesOf(one),
    clock: clockOf(one.transportStream),
    tables: tablesOf(one.transportStream),
  }));

function troublesOf({ strayPackets, transportStream: ts }: ReportMedia): string {
  const troubles = [
    say(strayPackets, "stray number"),
    say(ts?.continuityErrors, "continuity error"),
    say(ts?.syncLosses, "sync loss", "sync losses"),
    say(ts?.misalignedDatagrams, "datagram cut short", "datagrams cut short"),
    say(ts?.transportErrors, "packet marked damaged", "packets marked damaged"),
    say(ts?.pcrJumps, "clock jump"),
    say(ts?.pcrOverdue, "clock reference late", "clock references late"),
    say(ts?.patOverdue, "program table late", "program tables late"),
    say(ts?.pmtOverdue, "program map late", "program maps late"),
    ts !== null && ts.packets > 0 && ts.pats === 0 ? "no program table" : null,
  ].filter((one) => one !== null);
  return troubles.length === 0 ? "none" : troubles.join(", ");
}

function say(count: number | null | undefined, one: string, many = `${one}s`): string | null {
  return count == null || count === 0 ? null : `${count} ${count === 1 ? one : many}`;
}

const clockOf = (ts: TransportStream | null): string | null =>
  ts === null || ts.pcrLongestMs === null
    ? null
    : `${ts.pcrLongestMs.toFixed(1)} ms apart at most, ${ts.pcrJitterMs === null ? "jitter unknown" : `jitter ${ts.pcrJitterMs.toFixed(2)} ms`}`;

const tablesOf = (ts: TransportStream | null): string | null =>
  ts === null || ts.patLongestMs === null
    ? null
    : `${ts.patLongestMs.toFixed(0)} ms / ${ts.pmtLongestMs === null ? "unknown" : `${ts.pmtLongestMs.toFixed(0)} ms`}`;

/** Sentences that belong below the rows. */
export const MEDIA_METHOD: readonly string[] = [
  "Read from headers alone; no payload is kept. Names of errors as in ETSI TR 101 290. Continuity counters have 4 bits, so what they show missing is a lower bound. Clock jitter is how far arrivals swung against the program's clock in the worst second: the sender's own and the network's together.",
];
