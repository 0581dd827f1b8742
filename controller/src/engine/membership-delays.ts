import { type JoinDelay, joinDelay, type LeaveDelay, leaveDelay, ownMembershipNs } from "@dyetrace/measure";
import type { MembershipEvent } from "@dyetrace/wire";
import type { CompiledRun, CompiledStream, PlannedJoin } from "./compile-scenario.ts";
import type { Reception } from "./stream-evidence.ts";
import type { SeenFrames } from "./watch-evidence.ts";

/** One planned stay, with what its host knows of it. */
export interface Stay {
  readonly run: CompiledRun;
  readonly stream: CompiledStream;
  readonly join: PlannedJoin;
  /** Which of this host's stays in the group it is, from 0. */
  readonly index: number;
  readonly reception: Reception | null;
  readonly frames: SeenFrames | null;
  /** Null on a host that can't watch. */
  readonly events: readonly MembershipEvent[] | null;
}

/** A report is looked for this long after the join was asked (RFC 3376 8.11: repeated within 1 s). */
const REPORT_WITHIN_NS = 2e9;

/** @returns null when nobody can say */
export function joinDelayOf({ run, stream, index, reception, frames, events }: Stay): JoinDelay | null {
  const stay = reception?.memberships[index];
  if (stay === undefined) return null;
  const untilNs = stay.leaveRequestedNs ?? run.endNs;
  const before = frames?.parts.filter((part) => part.firstNs < stay.joinRequestedNs).at(-1) ?? null;
  return joinDelay({
    requestedNs: stay.joinRequestedNs,
    reportNs:
      events === null
        ? null
        : ownMembershipNs(events, {
            group: stream.group,
            source: null,
            effect: "join",
            fromNs: stay.joinRequestedNs - 5e6,
            untilNs: Math.min(untilNs, stay.joinRequestedNs + REPORT_WITHIN_NS),
          }),
    canSeeReports: events !== null && !stream.isSourceSpecific,
    firstFrameNs: stay.firstPacketNs,
    // An interval that the join falls into says only that its first frame was earlier.
    frameBeforeNs: before === null ? null : Math.min(before.lastNs, Math.max(before.firstNs, stay.joinRequestedNs)),
    sendingSinceNs:
      run.scenario.timeline.find((deed) => deed.stream === stream.name && deed.kind === "emit")?.atNs ?? null,
    packetIntervalNs: intervalNs(stream),
    untilNs,
  });
}

/** @returns null when nobody watched, or this stay has no leave */
export function leaveDelayOf({ run, stream, join, index, reception, frames, events }: Stay): LeaveDelay | null {
  const stay = reception?.memberships[index];
  if (
    join.toNs === null ||
    stay === undefined ||
    stay.leaveRequestedNs === null ||
    frames === null ||
    events === null
  ) {
    return null;
  }
  const nextJoinNs = reception?.memberships[index + 1]?.joinRequestedNs ?? run.endNs;
  const leaveNs = ownMembershipNs(events, {
    group: stream.group,
    source: null,
    effect: "leave",
    fromNs: stay.leaveRequestedNs - 5e6,
    untilNs: nextJoinNs,
  });
  if (leaveNs === null) return { kind: "no-leave" };
  const after = frames.parts.filter((part) => part.lastNs > leaveNs && part.firstNs < nextJoinNs);
  const stopNs = run.scenario.timeline.find(
    (deed) => deed.stream === stream.name && deed.kind === "stop" && deed.atNs > leaveNs,
  )?.atNs;
  return leaveDelay({
    leaveNs,
    frameBeforeNs: stay.lastPacketNs,
    lastFrameNs: after.at(-1)?.lastNs ?? null,
    sourceStoppedNs: stopNs ?? null,
    packetIntervalNs: intervalNs(stream),
    untilNs: nextJoinNs,
  });
}

const intervalNs = (stream: CompiledStream): number =>
  (stream.payloadBytes * 8e9 * stream.burstPackets) / stream.rateBps;
