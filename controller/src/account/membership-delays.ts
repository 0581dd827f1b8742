import { type JoinDelay, joinDelay, type LeaveDelay, leaveDelay, ownMembershipNs } from "@dyetrace/measure";
import type { CompiledRun, CompiledStream } from "../plan/compiled-run.ts";
import { sendingStretches } from "../plan/sending-stretches.ts";
import type { SeenPart } from "./seen-frames.ts";
import type { StayFacts } from "./stay-facts.ts";

/** A report is looked for this long after the join was asked (RFC 3376 8.11: repeated within 1 s). */
const REPORT_WITHIN_NS = 2e9;
/** The kernel's stamp of a frame and our own reading of the clock may differ by this much. */
const STAMP_NS = 5e6;

/** @returns null when nobody can say */
export function joinDelayOf(run: CompiledRun, stay: StayFacts): JoinDelay | null {
  const { stream, reception, events } = stay;
  if (reception === null || stay.join.isOfHost === true) return null;
  const { joinRequestedNs, leaveRequestedNs, firstPacketNs } = reception.membership;
  const untilNs = leaveRequestedNs ?? run.endNs;
  const reportNs =
    events === null
      ? null
      : ownMembershipNs(events, {
          group: stream.group,
          source: ssmSourceOf(run, stay),
          effect: "join",
          fromNs: joinRequestedNs - STAMP_NS,
          untilNs: Math.min(untilNs, joinRequestedNs + REPORT_WITHIN_NS),
        });
  const delay = joinDelay({
    requestedNs: joinRequestedNs,
    reportNs,
    canSeeReports: events !== null,
    firstFrameNs: firstPacketNs,
    frameBeforeNs: lastFrameBefore(stay, Number.NEGATIVE_INFINITY, joinRequestedNs),
    sendingSinceNs: sendingSinceNs(run, stream, joinRequestedNs),
    packetIntervalNs: packetIntervalNs(stream),
    untilNs,
  });
  // A plan that joins before it sends asks for no delay: where a busy host joins late, one would be measured by accident,
  // and the next run would have none to hold against it.
  const isPlannedBefore = (sendingSinceNs(run, stream, stay.join.fromNs) ?? 0) > stay.join.fromNs;
  return isPlannedBefore && (delay.kind === "measured" || delay.kind === "no-packet") ? { kind: "source-late" } : delay;
}

/** @returns null when nobody watched, or this stay has no leave */
export function leaveDelayOf(run: CompiledRun, stay: StayFacts): LeaveDelay | null {
  const { stream, join, nextJoinNs, reception, frames, events } = stay;
  const leaveRequestedNs = reception?.membership.leaveRequestedNs ?? null;
  if (join.isOfHost === true || join.toNs === null || reception === null || leaveRequestedNs === null) return null;
  if (frames === null || events === null) return null;
  const untilNs = nextJoinNs ?? run.endNs;
  const leaveNs = ownMembershipNs(events, {
    group: stream.group,
    source: ssmSourceOf(run, stay),
    effect: "leave",
    fromNs: leaveRequestedNs - STAMP_NS,
    untilNs,
  });
  if (leaveNs === null) return { kind: "no-leave" };
  const lastOn = sendingStretches(run, stream).findLast(({ startNs }) => startNs <= leaveNs);
  return leaveDelay({
    leaveNs,
    frameBeforeNs: reception.membership.lastPacketNs,
    lastFrameNs: lastFrameBefore(stay, leaveNs, untilNs),
    sourceStoppedNs: lastOn?.endNs ?? null,
    packetIntervalNs: packetIntervalNs(stream),
    untilNs,
  });
}

/**
 * The last frame at the network card between two instants. Frames are told interval by interval; where the later instant
 * falls into one, the sequence numbers in it say how far the frames before that instant went.
 */
function lastFrameBefore({ stream, frames, source }: StayFacts, fromNs: number, untilNs: number): number | null {
  const part = frames?.parts.findLast(({ firstNs, lastNs }) => lastNs > fromNs && firstNs < untilNs);
  if (part === undefined) return null;
  if (part.lastNs < untilNs) return part.lastNs;
  const lastSeq = source === null ? null : lastNumberBelow(part, source.sent.nextAt(untilNs));
  const firstSeq = part.ranges[0]?.[0] ?? 0;
  return lastSeq === null ? part.firstNs : part.firstNs + (lastSeq - firstSeq) * packetIntervalNs(stream);
}

function lastNumberBelow({ ranges }: SeenPart, seq: number): number | null {
  const range = ranges.findLast(([first]) => first < seq);
  return range === undefined ? null : Math.min(range[1], seq - 1);
}

const ssmSourceOf = (run: CompiledRun, { stream, join }: StayFacts): string | null =>
  run.tasks.get(join.agent)?.streams.find(({ streamId }) => streamId === stream.streamId)?.ssmSource ?? null;

/** When the stream began that is on, or next to be on, at an instant. */
function sendingSinceNs(run: CompiledRun, stream: CompiledStream, atNs: number): number | null {
  const emits = run.scenario.timeline.filter((action) => action.stream === stream.name && action.kind === "emit");
  const isOn = sendingStretches(run, stream).some(({ startNs, endNs }) => startNs <= atNs && atNs < endNs);
  const emit = isOn ? emits.findLast((action) => action.atNs <= atNs) : emits.find((action) => action.atNs > atNs);
  return emit?.atNs ?? null;
}

const packetIntervalNs = (stream: CompiledStream): number =>
  (stream.payloadBytes * 8e9 * stream.burstPackets) / stream.rateBps;
