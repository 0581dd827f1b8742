import type { MembershipEvent } from "@dyetrace/wire";
import { type MembershipEffect, membershipEffect } from "./membership-effect.ts";

/** One membership of this host, and the time in which its message is looked for: ns after the run's start. */
export interface OwnMembershipQuery {
  readonly group: string;
  /** Null for any source. */
  readonly source: string | null;
  readonly effect: MembershipEffect;
  readonly fromNs: number;
  readonly untilNs: number;
}

/**
 * When this host first said on the wire that it joins or leaves. A host that is still a member for another program,
 * or that heard another's IGMPv2 report, may say nothing.
 * @param events ascending in time
 * @returns null when no such message went out
 */
export function ownMembershipNs(events: readonly MembershipEvent[], query: OwnMembershipQuery): number | null {
  const said = events.find(
    ({ atNs, direction, message }) =>
      direction === "out" &&
      atNs >= query.fromNs &&
      atNs <= query.untilNs &&
      membershipEffect(message, query.group, query.source) === query.effect,
  );
  return said?.atNs ?? null;
}
