import { findingKindFacts, partialWords, type RunReport } from "@dyetrace/wire";

type Finding = RunReport["findings"][number];

/** What a finding rests on, ready to be drawn. */
export interface Evidence {
  /** Who received how much, the worst first. */
  readonly shares: readonly ReceivedShare[];
  /** When each listener missed something. */
  readonly gaps: readonly ListenerGaps[];
  /** How much each segment loses, where this run can tell. */
  readonly losses: readonly SegmentLoss[];
  /** Frames that came to hosts which had not joined. */
  readonly uninvited: readonly Uninvited[];
  /** How long each leave took, where that is what the finding is about; the slowest listener first. */
  readonly leaves: readonly ListenerLeaves[];
  readonly lastsMs: number;
}

export interface ReceivedShare {
  readonly listener: string;
  readonly stream: string;
  /** Null: unknown. */
  readonly received: number | null;
  readonly sent: number | null;
  /** What must be said of a receipt that tells of a part alone. */
  readonly partial: string | null;
}

export interface ListenerGaps {
  readonly listener: string;
  readonly stream: string;
  readonly gaps: readonly { readonly startMs: number; readonly durationMs: number; readonly count: number }[];
}

export interface SegmentLoss {
  readonly id: string;
  readonly lossRatio: number;
  readonly low: number;
  readonly high: number;
  readonly isSuspect: boolean;
}

export interface Uninvited {
  readonly agent: string;
  readonly stream: string;
  readonly frames: number;
  readonly firstMs: number;
  readonly lastMs: number;
}

export interface ListenerLeaves {
  readonly listener: string;
  readonly stream: string;
  readonly valuesMs: readonly number[];
  /** Leaves after which the stream came for as long as anybody watched. */
  readonly withoutEffect: number;
}

const MOST_ROWS = 14;
/** A segment without a loss worth showing. */
const NO_LOSS = 1e-9;

/** Pure. */
export function evidenceOf(finding: Finding, report: RunReport): Evidence {
  const isAbout = (stream: string): boolean => finding.streams.length === 0 || finding.streams.includes(stream);
  const receipts = report.receipts.filter((receipt) => isAbout(receipt.stream));
  const share = ({ received, sent }: { received: number | null; sent: number | null }): number =>
    received === null || sent === null || sent === 0 ? 2 : received / sent;
  const shares = receipts
    .map((receipt) => {
      const { listener, stream, received, sent } = receipt;
      return { listener, stream, received, sent, partial: partialWords(receipt) };
    })
    .sort((a, b) => share(a) - share(b) || a.listener.localeCompare(b.listener));
  const gaps = receipts
    .flatMap(({ listener, stream, gaps: all }) => {
      const timed = all.flatMap(({ startMs, durationMs, count }) =>
        startMs === null || durationMs === null ? [] : [{ startMs, durationMs, count }],
      );
      return timed.length === 0 ? [] : [{ listener, stream, gaps: timed }];
    })
    .slice(0, MOST_ROWS);
  const losses = report.segments
    .flatMap(({ id, lossRatio, low, high }) =>
      lossRatio === null || low === null || high === null
        ? []
        : [{ id, lossRatio, low, high, isSuspect: finding.suspects.includes(id) }],
    )
    .sort((a, b) => b.lossRatio - a.lossRatio)
    .slice(0, MOST_ROWS);
  const uninvited = report.bystanders
    .flatMap(({ stream, agent, frames, firstMs, lastMs }) =>
      !isAbout(stream) || frames === null || frames === 0 || firstMs === null || lastMs === null
        ? []
        : [{ stream, agent, frames, firstMs, lastMs }],
    )
    .slice(0, MOST_ROWS);
  const lastsMs = Math.max(1000, Date.parse(report.endedAt) - Date.parse(report.startedAt));
  return {
    shares: worthShowing(shares),
    gaps,
    losses: losses.some(({ lossRatio }) => lossRatio > NO_LOSS) ? losses : [],
    uninvited,
    leaves: findingKindFacts(finding.kind).restsOnLeaves ? leavesOf(receipts) : [],
    lastsMs,
  };
}

function leavesOf(receipts: RunReport["receipts"]): readonly ListenerLeaves[] {
  const slowest = ({ valuesMs, withoutEffect }: ListenerLeaves): number =>
    withoutEffect > 0 ? Number.POSITIVE_INFINITY : Math.max(...valuesMs);
  return receipts
    .flatMap(({ listener, stream, leaveDelays, leavesWithoutEffect }) => {
      const valuesMs = leaveDelays?.valuesMs ?? [];
      const withoutEffect = leavesWithoutEffect ?? 0;
      return valuesMs.length + withoutEffect === 0 ? [] : [{ listener, stream, valuesMs, withoutEffect }];
    })
    .toSorted((a, b) => slowest(b) - slowest(a) || a.listener.localeCompare(b.listener))
    .slice(0, MOST_ROWS);
}

/** Everyone who misses something, and a few who do not, for contrast. */
function worthShowing(shares: readonly ReceivedShare[]): readonly ReceivedShare[] {
  const isWhole = ({ received, sent, partial }: ReceivedShare): boolean =>
    received !== null && received === sent && partial === null;
  const missing = shares.filter((one) => !isWhole(one)).slice(0, MOST_ROWS);
  return [...missing, ...shares.filter(isWhole).slice(0, Math.max(4, MOST_ROWS - missing.length))].slice(0, MOST_ROWS);
}
