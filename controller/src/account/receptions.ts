import { mergeReceipts, type StreamReceipt } from "@dyetrace/measure";
import type { IntervalReport, ListenerInterval, Membership } from "@dyetrace/wire";
import { getOrAdd } from "./get-or-add.ts";

/** One listener's reception of one stream in one stay in the group. */
export interface Reception {
  readonly receipt: StreamReceipt;
  readonly membership: Membership;
  /** False: its agent was lost before the stay ended, so what came last is not known. */
  readonly isWhole: boolean;
}

/** Everything one agent received, by stream id, stay by stay in the order of time. */
export function receptionsIn(reports: readonly IntervalReport[]): ReadonlyMap<number, readonly Reception[]> {
  const stays = new Map<number, Map<number, ListenerInterval[]>>();
  for (const { listeners } of reports) {
    for (const part of listeners) {
      const [membership] = part.memberships;
      if (membership === undefined || part.receipt === null) continue;
      const ofStream = getOrAdd(stays, part.streamId, () => new Map<number, ListenerInterval[]>());
      getOrAdd(ofStream, membership.joinRequestedNs, () => []).push(part);
    }
  }
  return new Map([...stays].map(([streamId, ofStream]) => [streamId, [...ofStream.values()].flatMap(asReception)]));
}

/** @param parts of one stay, in order */
function asReception(parts: readonly ListenerInterval[]): Reception[] {
  const receipts = parts.flatMap((part) => part.receipt ?? []);
  const membership = parts.at(-1)?.memberships[0];
  const [first, ...later] = receipts;
  if (first === undefined || membership === undefined) return [];
  const receipt = later.reduce(mergeReceipts, first);
  return [{ receipt, membership, isWhole: receipt.isFinal }];
}
