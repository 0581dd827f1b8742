import type { SequenceRange } from "@dyetrace/measure";
import type { PlannedJoin } from "../plan/compiled-run.ts";
import { latestFirstNumber } from "./join-settles.ts";
import type { Reception } from "./receptions.ts";
import type { SourceAccount } from "./source-account.ts";

/** Packets that are sent this shortly before the leave may still be under way. */
const UNDER_WAY_NS = 100e6;

/** The numbers that were on their way to one listener in one stay, first and last, in two parts. */
export interface ExpectedNumbers {
  /** What it should have had; null when nobody can say, or nothing was sent meanwhile. */
  readonly window: SequenceRange | null;
  /** What came before that and does not count; null where the scenario states no warm-up. */
  readonly warmUp: SequenceRange | null;
}

const NOBODY_CAN_SAY: ExpectedNumbers = { window: null, warmUp: null };

/**
 * The numbers that a listener should have from one stay. From the first sent after the join where the stream began later
 * than that; else from its first arrival (what came before is join delay, not loss), but at the latest from what was
 * sent when a join takes effect even if its first report is lost. To the last sent before it left; of a source that was lost,
 * the last that anybody knows of. The warm-up that the scenario states stands by itself.
 * @param warmUpNs from the join, or from the stream's start where that came later; null where none is stated
 */
export function expectedNumbers(
  join: PlannedJoin,
  reception: Reception,
  source: SourceAccount | null,
  warmUpNs: number | null,
): ExpectedNumbers {
  const sent = source === null ? null : sentInStay(join, reception, source);
  if (source === null || sent === null) return NOBODY_CAN_SAY;
  if (warmUpNs === null) return { window: sent, warmUp: null };
  const startNs = Math.max(source.stretches[0]?.startNs ?? 0, reception.membership.joinRequestedNs);
  const lastWarm = Math.min(source.sent.nextAt(startNs + warmUpNs) - 1, sent[1]);
  if (lastWarm < sent[0]) return { window: sent, warmUp: null };
  return {
    window: lastWarm < sent[1] ? [lastWarm + 1, sent[1]] : null,
    warmUp: [sent[0], lastWarm],
  };
}

function sentInStay(
  join: PlannedJoin,
  { receipt, membership }: Reception,
  { emission, sent }: SourceAccount,
): SequenceRange | null {
  // With spans left out for want of room, what came in them would seem missing.
  if (emission.firstSeq === null || emission.lastSeq === null || receipt.spansOmitted > 0) return null;
  const spans = receipt.spans.filter((span) => span.senderId === emission.senderId);
  const arrived = {
    first: spans[0]?.firstSeq ?? null,
    last: spans.length === 0 ? null : (spans.at(-1)?.endSeq ?? 0) - 1,
  };
  const { joinRequestedNs, leaveRequestedNs } = membership;
  const latestFirst = latestFirstNumber(joinRequestedNs, sent);
  const first = Math.min(arrived.first ?? latestFirst, latestFirst);
  const leaveNs = join.toNs === null ? null : (leaveRequestedNs ?? join.toNs);
  const sentBeforeLeave = leaveNs === null ? emission.lastSeq : sent.nextAt(leaveNs - UNDER_WAY_NS) - 1;
  const last = Math.max(arrived.last ?? 0, sentBeforeLeave);
  return last < first ? null : [first, last];
}
