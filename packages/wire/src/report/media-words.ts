import type { ReportMedia } from "./report-media-schema.ts";
import type { RunReport } from "./report-schema.ts";

type TransportStream = NonNullable<ReportMedia["transportStream"]>;

/** What viewers would have noticed, one row for each stream and listener: for page, console and terminal alike. */
export interface MediaRow {
  readonly stream: string;
  readonly listener: string;
  readonly errorFree: string | null;
  readonly troubles: string;
  readonly clock: string | null;
  readonly tables: string | null;
}

/** Worst first: by seconds with an error, then by what else was wrong. */
export function mediaRows({ media = [], receipts }: Pick<RunReport, "media" | "receipts">): MediaRow[] {
  const lost = new Map(receipts.map((one) => [`${one.stream} ${one.listener}`, one.lost]));
  return media
    .toSorted((a, b) => erredSeconds(b) - erredSeconds(a) || troubleCount(b) - troubleCount(a))
    .map((one) => ({
      stream: one.stream,
      listener: one.listener,
      errorFree:
        one.seconds === null || one.errorFreeSeconds === null ? null : `${one.errorFreeSeconds} of ${one.seconds}`,
      troubles: troublesOf(one, lost.get(`${one.stream} ${one.listener}`) ?? null),
      clock: clockOf(one.transportStream),
      tables: tablesOf(one.transportStream),
    }));
}

const erredSeconds = ({ seconds, errorFreeSeconds }: ReportMedia): number =>
  seconds === null || errorFreeSeconds === null ? 0 : seconds - errorFreeSeconds;

const troubleCount = ({ strayPackets, transportStream: ts }: ReportMedia): number =>
  (strayPackets ?? 0) +
  (ts === null ? 0 : ts.continuityErrors + ts.syncLosses + ts.misalignedDatagrams + ts.transportErrors + ts.pcrJumps) +
  (ts === null ? 0 : ts.pcrOverdue + ts.patOverdue + ts.pmtOverdue);

/** Where nothing of the stream could be read, nobody knows more than what did not come. */
function troublesOf({ strayPackets, transportStream: ts }: ReportMedia, lost: number | null): string {
  const missing = say(lost, "packet lost", "packets lost");
  if (strayPackets === null && ts === null) return missing === null ? "unknown" : `${missing}, others unknown`;
  const troubles = [
    missing,
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
    : `${round(ts.pcrLongestMs)} ms apart at most, ${ts.pcrJitterMs === null ? "jitter unknown" : `jitter ${round(ts.pcrJitterMs)} ms`}`;

/** Three figures, as other times have them. */
const round = (ms: number): number => Number(ms.toPrecision(3));

const tablesOf = (ts: TransportStream | null): string | null =>
  ts === null || ts.patLongestMs === null
    ? null
    : `${ts.patLongestMs.toFixed(0)} ms / ${ts.pmtLongestMs === null ? "unknown" : `${ts.pmtLongestMs.toFixed(0)} ms`}`;

/** Sentences that belong below the rows. */
export const MEDIA_METHOD: readonly string[] = [
  "Read from headers alone; no payload is kept. Names of errors as in ETSI TR 101 290. Continuity counters have 4 bits, so what they show missing is a lower bound. Clock jitter is how far arrivals swung against the program's clock in the worst second: the sender's own and the network's together.",
];
