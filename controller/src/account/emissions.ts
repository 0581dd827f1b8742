import type { IntervalReport, SenderInterval } from "@dyetrace/wire";
import { getOrAdd } from "./get-or-add.ts";

/** What the source says of one stream; null parts are unknown because its agent was lost. */
export interface Emission {
  /** The last one, where the source began anew: its numbers are the ones that are judged. */
  readonly senderId: number;
  /** All that it ever had. */
  readonly senderIds: ReadonlySet<number>;
  /** Null unless the source finished: the count of a lost source ends too early. */
  readonly sentPackets: number | null;
  readonly sentBytes: number | null;
  readonly firstSeq: number | null;
  readonly lastSeq: number | null;
  readonly sendErrors: number;
  readonly lastError: string | null;
  readonly skippedPackets: number;
  readonly pacing: SenderInterval["pacing"];
  readonly stalls: SenderInterval["stalls"];
  readonly intervals: readonly EmissionInterval[];
  /** When all its sources stopped before they were to; null where they did not, or nobody knows. */
  readonly stoppedNs: number | null;
}

export interface EmissionInterval {
  readonly fromNs: number;
  readonly toNs: number;
  readonly firstSeq: number;
  readonly lastSeq: number;
}

interface SenderPart {
  readonly fromNs: number;
  readonly toNs: number;
  readonly sender: SenderInterval;
}

/**
 * Everything one agent sent, by stream id.
 * @param final its last report; null if it never finished
 */
export function emissionsIn(
  reports: readonly IntervalReport[],
  final: IntervalReport | null,
): ReadonlyMap<number, Emission> {
  const partsOf = new Map<number, SenderPart[]>();
  for (const { fromNs, toNs, senders } of reports) {
    for (const sender of senders) getOrAdd(partsOf, sender.streamId, () => []).push({ fromNs, toNs, sender });
  }
  const totals = new Map<number, SenderInterval>();
  for (const total of final?.totals?.senders ?? []) {
    if (!totals.has(total.streamId)) totals.set(total.streamId, total);
  }
  const streamIds = new Set([...partsOf.keys(), ...totals.keys()]);
  const stopped = reports.find(({ sourcesStopped }) => (sourcesStopped?.why ?? "as-planned") !== "as-planned");
  const stoppedNs = stopped?.sourcesStopped?.atNs ?? null;
  return new Map(
    [...streamIds].flatMap((streamId) => {
      const emission = asEmission(partsOf.get(streamId) ?? [], totals.get(streamId), stoppedNs);
      return emission === null ? [] : [[streamId, emission] as const];
    }),
  );
}

function asEmission(
  parts: readonly SenderPart[],
  total: SenderInterval | undefined,
  stoppedNs: number | null,
): Emission | null {
  const known = total ?? parts.at(-1)?.sender;
  if (known === undefined) return null;
  return {
    senderId: known.senderId,
    senderIds: new Set([known.senderId, ...parts.map(({ sender }) => sender.senderId)]),
    sentPackets: total?.sentPackets ?? null,
    sentBytes: total?.sentBytes ?? null,
    firstSeq: parts.find((part) => part.sender.firstSeq !== null)?.sender.firstSeq ?? null,
    lastSeq: parts.findLast((part) => part.sender.lastSeq !== null)?.sender.lastSeq ?? null,
    sendErrors: known.sendErrors.enobufs + known.sendErrors.eagain + known.sendErrors.other,
    lastError: known.lastError,
    skippedPackets: known.skippedPackets,
    pacing: known.pacing,
    stalls: parts.flatMap((part) => part.sender.stalls),
    intervals: parts.flatMap(({ fromNs, toNs, sender: { firstSeq, lastSeq } }) =>
      firstSeq === null || lastSeq === null ? [] : [{ fromNs, toNs, firstSeq, lastSeq }],
    ),
    stoppedNs,
  };
}
