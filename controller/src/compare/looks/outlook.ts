import { formatDurationNs, type RunReport } from "@dyetrace/wire";
import { binomialTest } from "../binomial-test.ts";
import { countLoss, LOSS_STEP, type Loss } from "../compare-loss.ts";
import { pairReceipts } from "../pooled/pair-receipts.ts";
import { poolStreams } from "../pooled/pool-streams.ts";
import { normalDeviate } from "../rank-sum-test.ts";
import { differenceInterval } from "../ratio-difference.ts";
import type { LookPlan } from "./plan-looks.ts";

/** At one listener, of all its streams. */
export interface ListenerLoss {
  readonly listener: string;
  readonly before: Loss;
  /** In all later runs so far. */
  readonly after: Loss;
}

/** What each listener lost before and after; where there is no later run yet, one that goes as the earlier one did. */
export function listenerLosses(before: RunReport, after: RunReport = before): readonly ListenerLoss[] {
  const pairs = pairReceipts(before, after);
  const pools = poolStreams(pairs);
  const single = pairs.filter(({ listener }) => pools.every((pool) => pool.listener !== listener));
  return [...pools, ...single].flatMap((pair) => {
    const [old, now] = [countLoss(pair.before), countLoss(pair.after)];
    return old === null || now === null ? [] : [{ listener: pair.listener, before: old, after: now }];
  });
}

/** Whether this much at the level settles if a listener loses a twentieth of a per cent more than before. */
export function isSettled({ before, after }: ListenerLoss, level: number): boolean {
  const burst = Math.max(1, (before.lost + after.lost) / Math.max(1, before.events + after.events));
  const share = ({ lost, sent }: Loss) => ({ hits: lost / burst, trials: sent / burst });
  if (differenceInterval(share(before), share(after), normalDeviate(level)).high < LOSS_STEP) return true;
  if (Math.abs(after.lost / after.sent - before.lost / before.sent) < LOSS_STEP) return false;
  return binomialTest(after.events, before.events + after.events, after.sent / (before.sent + after.sent)) <= level;
}

/** How a comparison that is not settled yet goes on. */
export interface Outlook {
  /** The look, as a number of runs in all, that settles it if the loss stays as it is; null: none of those planned. */
  readonly runs: number | null;
  /** No number of runs would: the earlier run is too short for that. */
  readonly isBarred: boolean;
  /** The listener that needs most. */
  readonly listener: string;
}

/** That many runs as no plan has. */
const ENDLESS = 100_000;

/** @param runs how many the later figures are of @returns null where it is settled at every listener, or nothing is known */
export function outlookOf(losses: readonly ListenerLoss[], runs: number, { after, level }: LookPlan): Outlook | null {
  const scaled = ({ listener, before, after: now }: ListenerLoss, to: number): ListenerLoss => {
    const by = to / runs;
    const more = { sent: now.sent * by, lost: now.lost * by, events: Math.round(now.events * by) };
    return { listener, before, after: more };
  };
  const needs = losses.flatMap((loss) => {
    if (isSettled(loss, level)) return [];
    const look = after.find((one) => one > runs && isSettled(scaled(loss, one), level));
    return [
      {
        listener: loss.listener,
        runs: look ?? null,
        isBarred: look === undefined && !isBoundable(scaled(loss, ENDLESS), level),
      },
    ];
  });
  return needs.reduce<Outlook | null>(
    (most, one) => (most === null || (most.runs !== null && (one.runs ?? Infinity) > most.runs) ? one : most),
    null,
  );
}

/** By the bound alone: of so many losses the exact test would take long to count out. */
function isBoundable({ before, after }: ListenerLoss, level: number): boolean {
  const burst = Math.max(1, (before.lost + after.lost) / Math.max(1, before.events + after.events));
  const share = ({ lost, sent }: Loss) => ({ hits: lost / burst, trials: sent / burst });
  return differenceInterval(share(before), share(after), normalDeviate(level)).high < LOSS_STEP;
}

/** What is still needed, for people. @param lastsNs one run */
export function sayOutlook({ runs: needed, isBarred, listener }: Outlook, runs: number, lastsNs: number): string {
  if (isBarred) {
    return `No number of runs settles it at ${listener}: the earlier run has too few packets for that, and a longer one would help`;
  }
  if (needed === null) return `Within the time given it is not settled at ${listener} if the loss stays as it is`;
  const more = needed - runs;
  const count = more === 1 ? "one more run" : `${more} more runs`;
  return `${count}, ${formatDurationNs(more * lastsNs)}, settle it at ${listener} if the loss stays as it is`;
}
