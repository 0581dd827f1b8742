import { mergeReceipts, type StreamReceipt } from "@dyetrace/measure";
import type { IntervalReport, ListenerInterval, Membership } from "@dyetrace/wire";
import { getOrAdd } from "./get-or-add.ts";

/** One listener's reception of one stream in one stay in the group. */
export interface Reception {
  readonly receipt: StreamReceipt;
  readonly membership: Membership;
  /** In order of time, one at least. More than one: between them nobody measured, or a report never arrived. */
  readonly pieces: readonly ReceptionPiece[];
  /** False: its agent told of a part of the stay alone. */
  readonly isWhole: boolean;
}

/** A part of a stay that its agent told of without a break. */
export interface ReceptionPiece {
  /** Of the reports that it was told in: the join or the leave may fall in between. */
  readonly fromNs: number;
  readonly toNs: number;
  /** Another one than the piece before has: the agent began anew, and joined again. */
  readonly joinRequestedNs: number;
  readonly receipt: StreamReceipt;
}

/** Reports follow each other without a break; this much is the rounding of their times. */
const BREAK_NS = 1e6;

/** Everything one agent received, by stream id, join by join in the order of time. */
export function receptionsIn(reports: readonly IntervalReport[]): ReadonlyMap<number, readonly Reception[]> {
  const stays = new Map<number, Map<number, ToldPart[]>>();
  for (const { fromNs, toNs, listeners } of reports) {
    for (const part of listeners) {
      const [membership] = part.memberships;
      if (membership === undefined || part.receipt === null) continue;
      const ofStream = getOrAdd(stays, part.streamId, () => new Map<number, ToldPart[]>());
      getOrAdd(ofStream, membership.joinRequestedNs, () => []).push({ fromNs, toNs, part });
    }
  }
  return new Map([...stays].map(([streamId, ofStream]) => [streamId, [...ofStream.values()].flatMap(asReception)]));
}

interface ToldPart {
  readonly fromNs: number;
  readonly toNs: number;
  readonly part: ListenerInterval;
}

/** @param parts of one join, in order */
function asReception(parts: readonly ToldPart[]): Reception[] {
  const membership = parts.at(-1)?.part.memberships[0];
  if (membership === undefined) return [];
  const { joinRequestedNs } = membership;
  const pieces: ReceptionPiece[] = [];
  for (const { fromNs, toNs, part } of parts) {
    if (part.receipt === null) continue;
    const before = pieces.at(-1);
    if (before === undefined || fromNs - before.toNs > BREAK_NS) {
      pieces.push({ fromNs, toNs, joinRequestedNs, receipt: part.receipt });
    } else pieces.splice(-1, 1, { ...before, toNs, receipt: mergeReceipts(before.receipt, part.receipt) });
  }
  return ofPieces(pieces, membership);
}

/**
 * An agent that was restarted in mid-stay joins again, and goes on with that stay.
 * @param all of one planned stay, in order of time @returns null where there is none
 */
export function joinReceptions(all: readonly Reception[]): Reception | null {
  const [first, ...later] = all;
  if (first === undefined || later.length === 0) return first ?? null;
  const { leaveRequestedNs } = all.at(-1)?.membership ?? first.membership;
  const membership: Membership = {
    joinRequestedNs: first.membership.joinRequestedNs,
    firstPacketNs:
      all.find(({ membership: { firstPacketNs } }) => firstPacketNs !== null)?.membership.firstPacketNs ?? null,
    lastPacketNs:
      all.findLast(({ membership: { lastPacketNs } }) => lastPacketNs !== null)?.membership.lastPacketNs ?? null,
    leaveRequestedNs,
  };
  return (
    ofPieces(
      all.flatMap(({ pieces }) => pieces),
      membership,
    )[0] ?? null
  );
}

function ofPieces(pieces: readonly ReceptionPiece[], membership: Membership): Reception[] {
  const [first, ...later] = pieces;
  if (first === undefined) return [];
  const receipt = later.reduce((sum, piece) => mergeReceipts(sum, piece.receipt), first.receipt);
  // Whose first report came later than its join has told nothing of what was before.
  const isFromJoin = first.fromNs <= membership.joinRequestedNs + BREAK_NS;
  return [{ receipt, membership, pieces, isWhole: pieces.length === 1 && isFromJoin && receipt.isFinal }];
}
