import { countRanges } from "@dyetrace/measure";
import type { CompiledRun } from "../plan/compiled-run.ts";
import { expectedNumbers, missingNumbers } from "./expected-numbers.ts";
import type { RunEvidence } from "./run-evidence.ts";
import { accountOf, type Stay } from "./stays.ts";
import { receptionsOf } from "./stream-evidence.ts";

/** @returns packets of the companion that this stay should have had and had, null where there is none or nobody can say */
export function companionCount(
  run: CompiledRun,
  { stream, join, reception }: Stay,
  evidence: RunEvidence,
): { readonly sentPackets: number; readonly receivedPackets: number } | null {
  const companion = run.companions.find((one) => one.of === stream.name && one.listener === join.agent);
  const agent = evidence.agents.get(join.agent);
  if (companion === undefined || agent === undefined || reception === null) return null;
  const { joinRequestedNs: fromNs, leaveRequestedNs: toNs } = reception.membership;
  const own = receptionsOf(agent)
    .get(companion.stream.streamId)
    ?.find(({ membership }) => Math.abs(membership.joinRequestedNs - fromNs) < SAME_JOIN_NS);
  // It keeps its pace when the stream's own changes.
  const timeline = run.scenario.timeline.filter(({ kind }) => kind !== "set");
  const steady = { ...run, scenario: { ...run.scenario, timeline } };
  const source = accountOf(steady, companion.stream, evidence);
  if (own === undefined || source === null || toNs === null) return null;
  const stay: Stay = {
    run: steady,
    stream: companion.stream,
    join,
    nextJoinNs: null,
    reception: own,
    frames: null,
    events: null,
    source,
  };
  const window = expectedNumbers(stay, own);
  if (window === null) return null;
  const sentPackets = window[1] - window[0] + 1;
  return { sentPackets, receivedPackets: sentPackets - countRanges(missingNumbers(own, source.emission, window)) };
}

/** Stream and companion are joined in one go. */
const SAME_JOIN_NS = 500e6;
