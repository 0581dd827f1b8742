import type { StreamReceipt } from "@dyetrace/measure";
import type { IntervalReport, ListenerInterval, SenderInterval } from "@dyetrace/wire";
import type { RunEvidence } from "./conduct-run.ts";

/** One listener's whole reception of one stream, from its totals or, if it was lost, from what it reported before. */
export interface Reception {
  readonly receipt: StreamReceipt;
  readonly memberships: ListenerInterval["memberships"];
  readonly foreignPackets: number;
}

/** What the source says of one stream; null parts are unknown because its agent was lost. */
export interface Emission {
  readonly senderId: number;
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
}

export interface EmissionInterval {
  readonly fromNs: number;
  readonly toNs: number;
  readonly firstSeq: number;
  readonly lastSeq: number;
}

/** @returns null if that agent reported nothing of the stream */
export function receptionOf(evidence: RunEvidence, agent: string, streamId: number): Reception | null {
  const one = evidence.agents.get(agent);
  const total = one?.final?.totals?.listeners.find((listener) => listener.streamId === streamId);
  if (total === undefined || total.receipt === null) return null;
  return {
    receipt: total.receipt,
    memberships: total.memberships,
    foreignPackets: foreignCount(total),
  };
}

/** @returns null if the source's agent reported nothing of the stream */
export function emissionOf(evidence: RunEvidence, agent: string, streamId: number): Emission | null {
  const one = evidence.agents.get(agent);
  if (one === undefined) return null;
  const parts = one.reports.flatMap((report) => senderParts(report, streamId));
  const total = one.final?.totals?.senders.find((sender) => sender.streamId === streamId);
  const known = total ?? parts.at(-1)?.sender;
  if (known === undefined) return null;
  return {
    senderId: known.senderId,
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
  };
}

interface SenderPart {
  readonly fromNs: number;
  readonly toNs: number;
  readonly sender: SenderInterval;
}

const senderParts = (report: IntervalReport, streamId: number): SenderPart[] =>
  report.senders
    .filter((sender) => sender.streamId === streamId)
    .map((sender) => ({ fromNs: report.fromNs, toNs: report.toNs, sender }));

/** Everything at the group and port that was not this stream's own; on a shared socket this is the socket's count. */
function foreignCount({ foreign }: ListenerInterval): number {
  return foreign.foreignPackets + foreign.malformedPackets + foreign.otherRunPackets + foreign.otherStreamPackets;
}
