import { type DelayDistribution, delayDistribution } from "@dyetrace/measure";
import type { ReportDelay, ReportReceipt } from "@dyetrace/wire";
import type { Stay } from "../account/stays.ts";

/** Single values that a report lists. */
const MOST_VALUES = 100;

type Delays = Pick<
  ReportReceipt,
  "joinDelayMs" | "leaveDelayMs" | "joinDelays" | "leaveDelays" | "leavesWithoutEffect" | "leaveDelayAtLeastMs"
>;

/** Join and leave delays over all stays of one listener. */
export function reportDelays(stays: readonly Stay[]): Delays {
  const joins = stays.map(({ joinDelay }) => joinDelay).filter((delay) => delay?.kind === "measured");
  const leaves = stays.map(({ leaveDelay }) => leaveDelay);
  const joinDelays = reportDelay(joins);
  const leaveDelays = reportDelay(leaves.filter((delay) => delay?.kind === "measured"));
  const known = leaves.filter((delay) => delay !== null);
  const open = known.filter((delay) => delay.kind === "still-flowing");
  return {
    joinDelayMs: joinDelays?.medianMs ?? null,
    leaveDelayMs: leaveDelays?.medianMs ?? null,
    joinDelays,
    leaveDelays,
    leavesWithoutEffect: known.length === 0 ? null : open.length,
    leaveDelayAtLeastMs: open.length === 0 ? null : Math.max(...open.map(({ atLeastNs }) => atLeastNs)) / 1e6,
  };
}

function reportDelay(
  measured: readonly { readonly delayNs: number; readonly resolutionNs: number }[],
): ReportDelay | null {
  const delays: DelayDistribution | null = delayDistribution(measured);
  if (delays === null) return null;
  return {
    trials: delays.trials,
    minMs: delays.minNs / 1e6,
    medianMs: delays.medianNs / 1e6,
    p95Ms: delays.p95Ns / 1e6,
    maxMs: delays.maxNs / 1e6,
    resolutionMs: delays.resolutionNs / 1e6,
    valuesMs: measured.slice(0, MOST_VALUES).map(({ delayNs }) => delayNs / 1e6),
  };
}

/** A port that the stream flows to already, for a neighbour or a router, shows no join and no leave. */
const WITHOUT_JOIN_DELAY: ReadonlySet<string> = new Set(["already-flowing", "source-late"]);
const WITHOUT_LEAVE_DELAY: ReadonlySet<string> = new Set(["not-flowing", "no-leave"]);

/** Whether one of these stays, all of one listener, has a delay that could be told; true where nobody can say. */
export const hasJoinDelay = (stays: readonly Stay[]): boolean =>
  stays.some(({ joinDelay }) => !WITHOUT_JOIN_DELAY.has(joinDelay?.kind ?? ""));

/** @param flowsWrongly false: a stream that still comes after a leave is somebody else's by right, and tells of no leave */
export const hasLeaveDelay = (stays: readonly Stay[], flowsWrongly: boolean): boolean =>
  stays.some(({ join, leaveDelay }) => {
    const kind = leaveDelay?.kind ?? "";
    const isAnothers = kind === "still-flowing" && !flowsWrongly;
    return join.toNs !== null && !WITHOUT_LEAVE_DELAY.has(kind) && !isAnothers;
  });
