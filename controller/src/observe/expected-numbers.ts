import type { SeqRange } from "@dyetrace/locate";
import { sendingStretches } from "./sending-stretches.ts";
import type { Stay } from "./stays.ts";
import type { Emission, Reception } from "./stream-evidence.ts";

/** A join this long before the next packet is sent counts as "there from the start": a report takes a few ms. */
const JOIN_AHEAD_NS = 200e6;
/** A join may take this long where its first report is lost: it is repeated within 1 s (RFC 3376 8.11). */
const JOIN_WITHIN_NS = 2e9;
/** Packets that are sent this shortly before the leave may still be under way. */
const UNDER_WAY_NS = 100e6;

/**
 * The numbers that a listener should have from one stay, first and last. From the first sent after the join where the
 * stream began later than that; else from its first arrival (what came before is join delay, not loss), but at the
 * latest from what was sent when a join takes effect even if its first report is lost. To the last sent before it left.
 * The warm-up that the scenario states is left out.
 * @returns null when nobody can say, or nothing was sent meanwhile
 */
export function expectedNumbers(stay: Stay, reception: Reception): SeqRange | null {
  const [window, warm] = [numbersOfStay(stay, reception), warmUpNumbers(stay, reception)];
  if (window === null || warm === null) return window;
  return warm[1] < window[1] ? [warm[1] + 1, window[1]] : null;
}

/** The numbers at the beginning of a stay that do not count; null where the scenario states no warm-up. */
export function warmUpNumbers(stay: Stay, reception: Reception): SeqRange | null {
  const { warmUpNs } = stay.run.scenario.expect;
  const window = numbersOfStay(stay, reception);
  if (warmUpNs === undefined || window === null || stay.source === null) return null;
  const startNs = sendingStretches(stay.run, stay.stream)[0]?.startNs ?? 0;
  const endNs = Math.max(startNs, reception.membership.joinRequestedNs) + warmUpNs;
  const last = Math.min(stay.source.sent.nextAt(endNs) - 1, window[1]);
  return last < window[0] ? null : [window[0], last];
}

function numbersOfStay({ join, source }: Stay, { receipt, membership }: Reception): SeqRange | null {
  if (source === null) return null;
  const { emission, sent } = source;
  if (emission.firstSeq === null || emission.lastSeq === null) return null;
  const spans = receipt.spans.filter((span) => span.senderId === emission.senderId);
  const arrived = {
    first: spans[0]?.firstSeq ?? null,
    last: spans.length === 0 ? null : (spans.at(-1)?.endSeq ?? 0) - 1,
  };
  const { joinRequestedNs, leaveRequestedNs } = membership;
  const isAhead = sent.isPause(joinRequestedNs, joinRequestedNs + JOIN_AHEAD_NS);
  const latestFirst = isAhead ? sent.nextAt(joinRequestedNs) : sent.nextAt(joinRequestedNs + JOIN_WITHIN_NS) + 1;
  const first = Math.min(arrived.first ?? latestFirst, latestFirst);
  const sentBeforeLeave =
    join.toNs === null || leaveRequestedNs === null
      ? emission.lastSeq
      : sent.nextAt(leaveRequestedNs - UNDER_WAY_NS) - 1;
  // A source that was lost may have sent more, or less, than it told.
  const last = emission.sentPackets === null ? arrived.last : Math.max(arrived.last ?? 0, sentBeforeLeave);
  return last === null || last < first ? null : [first, last];
}

/** Numbers of the window that did not arrive, ascending. */
export function missingNumbers(reception: Reception, emission: Emission | null, [first, last]: SeqRange): SeqRange[] {
  const missing: SeqRange[] = [];
  let next = first;
  for (const [from, to] of arrivedRanges(reception, emission)) {
    if (to < next) continue;
    if (from > last) break;
    if (from > next) missing.push([next, from - 1]);
    next = to + 1;
  }
  if (next <= last) missing.push([next, last]);
  return missing;
}

/** Runs of numbers that arrived, ascending: the judged spans less their lost ranges. */
function arrivedRanges({ receipt }: Reception, emission: Emission | null): SeqRange[] {
  const arrived: SeqRange[] = [];
  for (const span of receipt.spans) {
    if (emission !== null && span.senderId !== emission.senderId) continue;
    let next = span.firstSeq;
    for (const [firstSeq, count] of [...span.lost, ...span.coarse].sort((a, b) => a[0] - b[0])) {
      if (firstSeq > next) arrived.push([next, firstSeq - 1]);
      next = Math.max(next, firstSeq + count);
    }
    if (span.endSeq > next) arrived.push([next, span.endSeq - 1]);
  }
  return arrived;
}
