import type { LeaveWitness } from "../membership/leave-signs.ts";
import { ownLeaveBefore } from "./leak-pattern.ts";
import type { LeakSighting } from "./leak-sighting.ts";

/** What became of leaves after which the stream went on; at most one of the three is so, and none where nobody could tell. */
export interface SlowLeave {
  /** A query about the group followed one of them: the leave was heard, and yet the port stayed open. */
  readonly isHeard: boolean;
  /** None followed, though the hosts said on the wire that they leave and could have heard it. */
  readonly isUnheard: boolean;
  /** The hosts said nothing. */
  readonly isUnsaid: boolean;
  /** Where a leave may have been lost, or the question about it; what leaves have passed in time is not in it. */
  readonly way: readonly string[];
}

export function slowLeaveOf(sightings: readonly LeakSighting[], witness: LeaveWitness): SlowLeave {
  const signs = sightings.map(({ facts, stays, seen: { bystander, node } }) => {
    const firstMs = bystander.firstMs ?? 0;
    const leftMs = ownLeaveBefore(stays, node, firstMs) ?? firstMs;
    return witness.signsOf(bystander.host, facts.stream.group, leftMs, bystander.lastMs ?? firstMs);
  });
  const isHeard = signs.some(({ isAsked }) => isAsked === true);
  const isUnsaid = !isHeard && signs.every(({ isSaid }) => isSaid === false);
  const ways = signs.map(({ way }) => way);
  const shared = (ways[0] ?? []).filter((place) => ways.every((way) => way.includes(place)));
  return {
    isHeard,
    isUnheard: !isHeard && signs.every(({ isSaid, isAsked }) => isSaid === true && isAsked === false),
    isUnsaid,
    way: shared.length > 0 ? shared : [...new Set(ways.flat())],
  };
}
