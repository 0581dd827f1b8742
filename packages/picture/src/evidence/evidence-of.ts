import { findingKindFacts, partialWords, type RunReport } from "@dyetrace/wire";

type Finding = RunReport["findings"][number];

/** What a finding rests on, ready to be drawn. */
export interface Evidence {
  /** Who received how much, the worst first. */
  readonly shares: readonly ReceivedShare[];
  /** When each listener missed something, the worst first. */
  readonly gaps: readonly ListenerGaps[];
  /** Rows that there would be more of, by chart. */
  readonly more: {
    readonly shares: number;
    readonly gaps: number;
    readonly losses: number;
    readonly uninvited: number;
  };
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
  /** Packets that are missing; null: unknown. */
  readonly lost: number | null;
  /** Loss periods, whether their times are known or not; null: unknown. */
  readonly periods: number | null;
  readonly longestMs: number | null;
  /** Of those whose times are known, the share of each piece of the run during which packets were missing, 0 to 1. */
  readonly missing: readonly number[];
  /** Missing packets of which the report does not say when: the longest gaps alone are listed. */
  readonly untimed: number | null;
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

/**
 * Pure.
 * @param behind agents behind any of the suspects; they come first, and when packets were missing is shown of them alone.
 *   Null or empty: nobody knows
 */
export function evidenceOf(finding: Finding, report: RunReport, behind: ReadonlySet<string> | null = null): Evidence {
  const isItsOwn = (agent: string): boolean => behind === null || behind.size === 0 || behind.has(agent);
  const isAbout = (stream: string): boolean => finding.streams.length === 0 || finding.streams.includes(stream);
  const receipts = report.receipts.filter((receipt) => isAbout(receipt.stream));
  const share = ({ received, sent }: { received: number | null; sent: number | null }): number =>
    received === null || sent === null || sent === 0 ? 2 : received / sent;
  const shares = receipts
    .map((receipt) => {
      const { listener, stream, received, sent } = receipt;
      return { listener, stream, received, sent, partial: partialWords(receipt) };
    })
    .sort(
      (a, b) =>
        Number(isItsOwn(b.listener)) - Number(isItsOwn(a.listener)) ||
        share(a) - share(b) ||
        a.listener.localeCompare(b.listener),
    );
  const lastsMs = Math.max(1000, Date.parse(report.endedAt) - Date.parse(report.startedAt));
  const gaps = receipts
    .filter(({ gaps: listed, listener }) => listed.length > 0 && isItsOwn(listener))
    .map((receipt) => gapsOf(receipt, lastsMs))
    .sort((a, b) => (b.lost ?? 0) - (a.lost ?? 0) || a.listener.localeCompare(b.listener));
  const losses = report.segments
    .flatMap(({ id, lossRatio, low, high }) =>
      lossRatio === null || low === null || high === null
        ? []
        : [{ id, lossRatio, low, high, isSuspect: finding.suspects.includes(id) }],
    )
    .sort((a, b) => b.lossRatio - a.lossRatio);
  const uninvited = report.bystanders
    .flatMap(({ stream, agent, frames, firstMs, lastMs }) =>
      !isAbout(stream) || frames === null || frames === 0 || firstMs === null || lastMs === null
        ? []
        : [{ stream, agent, frames, firstMs, lastMs }],
    )
    .sort((a, b) => b.frames - a.frames || a.agent.localeCompare(b.agent));
  const shown = worthShowing(shares);
  // Of a leak the losses of segments tell nothing, nor frames at bystanders of a loss.
  const { glyph } = findingKindFacts(finding.kind);
  const isLossy = glyph !== "seep" && losses.some(({ lossRatio }) => lossRatio > NO_LOSS);
  const isLeak = glyph !== "stop" && glyph !== "thin";
  return {
    shares: shown,
    gaps: gaps.slice(0, MOST_ROWS),
    losses: isLossy ? losses.slice(0, MOST_ROWS) : [],
    uninvited: isLeak ? uninvited.slice(0, MOST_ROWS) : [],
    more: {
      shares: shares.length - shown.length,
      gaps: Math.max(0, gaps.length - MOST_ROWS),
      losses: isLossy ? Math.max(0, losses.length - MOST_ROWS) : 0,
      uninvited: isLeak ? Math.max(0, uninvited.length - MOST_ROWS) : 0,
    },
    leaves: findingKindFacts(finding.kind).restsOnLeaves ? leavesOf(receipts) : [],
    lastsMs,
  };
}

/** Pieces that a run is drawn in: about as many as there are pixels to tell apart. */
const PIECES = 160;

function gapsOf(receipt: RunReport["receipts"][number], lastsMs: number): ListenerGaps {
  const { listener, stream, lost, lossPattern, longestGapMs } = receipt;
  const missing = new Array<number>(PIECES).fill(0);
  const pieceMs = lastsMs / PIECES;
  let timed = 0;
  for (const { startMs, durationMs, count } of receipt.gaps) {
    if (startMs === null || durationMs === null) continue;
    timed += count;
    const [from, to] = [Math.max(0, startMs), Math.min(lastsMs, startMs + durationMs)];
    for (let piece = Math.floor(from / pieceMs); piece < PIECES && piece * pieceMs < to; piece++) {
      const overlapMs = Math.min(to, (piece + 1) * pieceMs) - Math.max(from, piece * pieceMs);
      missing[piece] = Math.min(1, (missing[piece] ?? 0) + overlapMs / pieceMs);
    }
  }
  const untimed = lost === null ? null : Math.max(0, lost - timed);
  return { listener, stream, lost, periods: lossPattern?.periods ?? null, longestMs: longestGapMs, missing, untimed };
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
