import { countRanges, intersectRanges, subtractRanges } from "@dyetrace/measure";
import { membershipMs } from "../membership/querier-timing.ts";
import type { BystanderObservation, MembershipTimers } from "../run/run-observations.ts";
import type { PlacedBystander, StreamFacts } from "../run/stream-facts.ts";
import type { StreamStays } from "./stream-stays.ts";

/** How frames outside the wanted region lie in time. */
export type LeakPattern =
  /** From about the first packet on, for most of the run. */
  | "constant"
  /** Begins with the first packet and ends soon: flooded until the first report was learned. */
  | "start-up"
  /** Only while nobody was a member of the group, though somebody was at another time. */
  | "unregistered"
  /** Follows the host's own leave and ends in time. */
  | "leave-tail"
  /** Follows the host's own leave for longer than a last member query takes. */
  | "slow-leave"
  /** Begins when memberships time out, and stays. */
  | "late"
  /** Comes and goes. */
  | "bursts";

/** A switch that floods until it knows better, with nobody to join, does so for about one query response interval (RFC 3376, section 8.3: 10 s). */
const START_UP_MS = 10_000;
/**
 * A flood from the first packet on that is over in this time is a group that nobody had asked for yet, whoever had joined:
 * a switch may flood unregistered groups (RFC 4541, section 2.1.2), and a report needs its time to be acted on. The time:
 * common practice, no source.
 */
const UNREGISTERED_MS = 1_000;
/** What a time may be off by beyond a timer's own value. Common practice, no source. */
export const LEAVE_GRACE_MS = 1_000;
/** Holes in what a bystander saw, beyond those that good listeners share, before that counts as coming and going. Common practice, no source. */
const LEAST_HOLE_SHARE = 0.05;
/** A membership runs out after its interval; half of it passed says that it was not so from the start. Common practice, no source. */
const LATE_SHARE = 0.5;
/** Frames that end this part of the run before its end do not last. Common practice, no source. */
const EARLY_END_SHARE = 0.2;

export function leakPattern(
  facts: StreamFacts,
  { bystander, node }: PlacedBystander,
  stays: StreamStays,
  timers: MembershipTimers,
): LeakPattern {
  const { stream } = facts;
  const firstMs = bystander.firstMs ?? 0;
  const lastMs = bystander.lastMs ?? firstMs;
  const left = ownLeaveBefore(stays, node, firstMs);
  if (left !== null) {
    return lastMs - left <= timers.lastMemberMs + LEAVE_GRACE_MS ? "leave-tail" : "slow-leave";
  }
  const startMs = stream.firstSentMs ?? 0;
  const endMs = stream.lastSentMs ?? lastMs;
  const isFromStart = firstMs - startMs <= LEAVE_GRACE_MS;
  const startUpMs = stays.memberNumbers === null ? START_UP_MS : UNREGISTERED_MS;
  const endsEarly = lastMs - startMs <= startUpMs && lastMs < endMs - LEAVE_GRACE_MS;
  if (isFromStart && endsEarly && !endsWithLastLeave(stays, lastMs, timers)) return "start-up";
  if (isOnlyWithoutMember(bystander, stays) && (isFromStart || !comesWithJoins(bystander, stays)))
    return "unregistered";
  if (firstMs - startMs >= LATE_SHARE * membershipMs(timers) && endMs - lastMs < LEAVE_GRACE_MS) return "late";
  if (hasHolesOfItsOwn(stays, bystander.ranges)) return "bursts";
  // With the last member behind a switch the stream itself stays away, and there is nothing more to leak.
  return lastMs < endMs - (endMs - startMs) * EARLY_END_SHARE && !endsWithALeave(stays, lastMs, timers)
    ? "bursts"
    : "constant";
}

/** All that was seen was sent while nobody's membership was in effect. Frames that no list has may be any. */
export function isOnlyWithoutMember(
  { frames, ranges }: Pick<BystanderObservation, "frames" | "ranges">,
  { memberNumbers }: StreamStays,
): boolean {
  if (memberNumbers === null || frames > countRanges(ranges)) return false;
  return intersectRanges(ranges, memberNumbers).length === 0;
}

/**
 * All that was seen was sent from a join on until its leave took effect. A switch that floods what nobody has joined floods
 * it before the join as well; these came with it, however soon the member left.
 */
function comesWithJoins({ ranges }: Pick<BystanderObservation, "ranges">, { askedNumbers }: StreamStays): boolean {
  return askedNumbers !== null && countRanges(subtractRanges(ranges, askedNumbers)) === 0;
}

/** Frames that end when the last member has left went wherever that member's went: nothing was learned meanwhile. */
function endsWithLastLeave({ lastLeaveMs }: StreamStays, lastMs: number, timers: MembershipTimers): boolean {
  return lastLeaveMs !== null && isTail(lastMs - lastLeaveMs, timers);
}

function endsWithALeave({ leavesMs }: StreamStays, lastMs: number, timers: MembershipTimers): boolean {
  return leavesMs.some((leftMs) => isTail(lastMs - leftMs, timers));
}

const isTail = (tailMs: number, timers: MembershipTimers): boolean =>
  tailMs >= -LEAVE_GRACE_MS && tailMs <= timers.lastMemberMs + LEAVE_GRACE_MS;

/** When this host left the group last before `atMs` (or just after: frames may still come as the leave is sent). */
export function ownLeaveBefore({ leavesOf }: StreamStays, node: number, atMs: number): number | null {
  let latest: number | null = null;
  for (const leftMs of leavesOf.get(node) ?? []) {
    const isNear = leftMs <= atMs + LEAVE_GRACE_MS && atMs - leftMs <= LEAVE_GRACE_MS;
    if (isNear && (latest === null || leftMs > latest)) latest = leftMs;
  }
  return latest;
}

/** Holes in both are loss on the common way, not an interrupted leak. */
function hasHolesOfItsOwn({ missed }: StreamStays, ranges: BystanderObservation["ranges"]): boolean {
  const [first, last] = [ranges[0]?.[0], ranges.at(-1)?.[1]];
  if (first === undefined || last === undefined || ranges.length === 1) return false;
  const holes = subtractRanges([[first, last]], ranges);
  return countRanges(subtractRanges(holes, missed())) > LEAST_HOLE_SHARE * (last - first + 1);
}
