import { mergeReceipts, type StreamReceipt } from "@dyetrace/measure";
import type { IntervalReport, ListenerInterval, Membership, SenderInterval } from "@dyetrace/wire";
import type { AgentEvidence, RunEvidence } from "./run-evidence.ts";

/** One listener's reception of one stream in one stay in the group. */
export interface Reception {
  readonly receipt: StreamReceipt;
  readonly membership: Membership;
  /** False: its agent was lost before the stay ended, so what came last is not known. */
  readonly isWhole: boolean;
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

/** Everything one agent received, by stream id, stay by stay in the order of time. */
export function receptionsOf(evidence: AgentEvidence): ReadonlyMap<number, readonly Reception[]> {
  const stays = new Map<number, Map<number, ListenerInterval[]>>();
  for (const part of evidence.reports.flatMap((report) => report.listeners)) {
    const [membership] = part.memberships;
    if (membership === undefined || part.receipt === null) continue;
    const ofStream = getOrAdd(stays, part.streamId, () => new Map<number, ListenerInterval[]>());
    getOrAdd(ofStream, membership.joinRequestedNs, () => []).push(part);
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

function getOrAdd<K, V>(map: Map<K, V>, key: K, make: () => V): V {
  const known = map.get(key);
  if (known !== undefined) return known;
  const made = make();
  map.set(key, made);
  return made;
}

/**
 * Everything at a stream's group and port that was not its own, over the whole run; on a shared socket the socket's.
 * @returns null if that agent did not finish or did not listen
 */
export function foreignPackets(evidence: RunEvidence, agent: string, streamId: number): number | null {
  const totals = evidence.agents.get(agent)?.final?.totals;
  const total = totals?.listeners.find((listener) => listener.streamId === streamId);
  return total === undefined ? null : foreignCount(total);
}

export const foreignCount = ({ foreign }: ListenerInterval): number =>
  foreign.foreignPackets + foreign.malformedPackets + foreign.otherRunPackets + foreign.otherStreamPackets;

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
