import type { SendStep, StreamObservation } from "@dyetrace/locate";
import type { SourceAccount } from "../account/source-account.ts";
import type { SourceBreak } from "../account/source-breaks.ts";
import type { CompiledRun, CompiledStream } from "../plan/compiled-run.ts";
import { paceNs, type SendingStretch, scheduledPackets, sendingStretches } from "../plan/sending-stretches.ts";

/**
 * What the source did, as planned where it did not report.
 * @param isAborted the run was stopped before its end, and its sources with it
 * @param breaks of its host
 */
export function observeStream(
  run: CompiledRun,
  stream: CompiledStream,
  source: SourceAccount | null,
  isAborted: boolean,
  breaks: readonly SourceBreak[],
): StreamObservation {
  const emission = source?.emission ?? null;
  const first = emission?.intervals[0];
  const last = emission?.intervals.at(-1);
  // An interval of the source's reports is longer than what it sent in it.
  const stretches = sendingStretches(run, stream);
  const beginsNs = stretches.find(({ endNs }) => endNs > (first?.fromNs ?? 0))?.startNs ?? 0;
  const endsNs = stretches.at(-1)?.endNs ?? Number.POSITIVE_INFINITY;
  const isSilent = emission !== null && emission.sentPackets === 0;
  return {
    stream: stream.name,
    group: stream.group,
    source: stream.sourceHost,
    ssm: stream.isSourceSpecific,
    sourceState:
      emission === null ? "unknown" : isSilent ? "not-sending" : emission.stalls.length > 0 ? "stalled" : "sending",
    sentPackets: emission?.sentPackets ?? null,
    ...(stream.followed === undefined ? {} : { sending: stream.followed.isUnseen ? "assumed" : "seen" }),
    ...(isNumberedAsSeen(stream) ? { numbering: "as-seen" } : {}),
    plannedPackets: isAborted || stream.production !== undefined ? null : plannedPackets(stretches),
    tooLargePackets: emission?.lastError === "EMSGSIZE" ? emission.sendErrors : 0,
    steps: sendSteps(run, stream, source),
    // A number is used by a packet that left and by no other: what a source skips leaves no hole in its numbers.
    unsent: [],
    firstSentMs: first === undefined ? null : Math.max(first.fromNs, beginsNs) / 1e6,
    lastSentMs: last === undefined ? null : Math.min(last.toNs, endsNs) / 1e6,
    stalls: (emission?.stalls ?? []).map(({ atNs, durationNs }) => ({
      startMs: atNs / 1e6,
      endMs: (atNs + durationNs) / 1e6,
    })),
    breaks: breaksOf(breaks, stretches, isAborted),
    // Nobody knows what a stream of others left with.
    ttl: stream.production === undefined ? stream.ttl : null,
    dscp: stream.production === undefined ? stream.dscp : null,
  };
}

/** Of a transport stream some of what was lost to all shows by its counters; of packets without any number, nothing. */
const isNumberedAsSeen = ({ followed }: CompiledStream): boolean =>
  followed?.identifiedBy === "continuity" || followed?.identifiedBy === "digest";

/** Those of its host while it was to be sent. A run that is stopped ends every source: that is no break. */
const breaksOf = (
  breaks: readonly SourceBreak[],
  stretches: readonly SendingStretch[],
  isAborted: boolean,
): NonNullable<StreamObservation["breaks"]> =>
  breaks
    .filter(({ stoppedNs, heardNs, againNs }) => {
      const atNs = stoppedNs ?? heardNs;
      return stretches.some(({ startNs, endNs }) => (againNs ?? Number.POSITIVE_INFINITY) > startNs && atNs < endNs);
    })
    .filter(({ againNs }) => againNs !== null || !isAborted)
    .map(({ stoppedNs, why, heardNs, againNs }) => ({
      stoppedMs: stoppedNs === null ? null : stoppedNs / 1e6,
      why,
      heardMs: heardNs / 1e6,
      againMs: againNs === null ? null : againNs / 1e6,
    }));

const plannedPackets = (stretches: readonly SendingStretch[]): number =>
  Math.floor(scheduledPackets(stretches, Number.POSITIVE_INFINITY));

/** What rounding and a packet's way make of a count at an instant. */
const COUNT_ERROR_PACKETS = 2;

/** Rates and sizes as planned, with the numbers that the source's own count gives them; up to where it ended. */
function sendSteps(run: CompiledRun, stream: CompiledStream, source: SourceAccount | null): SendStep[] {
  const stretches = sendingStretches(run, stream);
  const steps: SendStep[] = [];
  for (const [position, { startNs, endNs, rateBps, payloadBytes }] of stretches.entries()) {
    const firstSeq = steps.length === 0 ? (source?.emission.firstSeq ?? 0) : (steps.at(-1)?.lastSeq ?? -1) + 1;
    const planned = firstSeq + Math.ceil(((endNs - startNs) * rateBps) / (payloadBytes * 8e9)) - 1;
    const isLast = position === stretches.length - 1;
    const lastSeq = source === null ? planned : lastSeqOf(source, planned, endNs, isLast);
    if (lastSeq < firstSeq) continue;
    const endedNs = source === null ? endNs : endOfStep(source, lastSeq, endNs);
    steps.push({ firstSeq, lastSeq, startMs: startNs / 1e6, endMs: endedNs / 1e6, payloadBytes, rateBps });
  }
  return steps;
}

/** The plan's own count where the source kept to it: that is exact, and a count at an instant is right within one. */
function lastSeqOf({ emission, sent }: SourceAccount, planned: number, endNs: number, isLast: boolean): number {
  const { lastSeq } = emission;
  if (lastSeq === null) return planned;
  if (isLast) return lastSeq;
  const counted = sent.nextAt(endNs) - 1;
  return Math.min(Math.abs(counted - planned) <= COUNT_ERROR_PACKETS ? planned : counted, lastSeq);
}

/** A source that was stopped, or whose agent was lost, did not go on to the step's planned end. */
function endOfStep({ emission, stretches }: SourceAccount, lastSeq: number, endNs: number): number {
  const { stoppedNs, sentPackets, intervals } = emission;
  if (stoppedNs !== null) return Math.min(endNs, stoppedNs);
  const last = intervals.at(-1);
  if (sentPackets !== null || last === undefined || lastSeq < last.lastSeq) return endNs;
  return Math.min(endNs, last.toNs + paceNs(stretches, last.toNs));
}
