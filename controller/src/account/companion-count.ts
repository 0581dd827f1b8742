import { countRanges } from "@dyetrace/measure";
import type { CompiledRun } from "../plan/compiled-run.ts";
import type { AgentAccount } from "./agent-account.ts";
import { accountOfSource } from "./source-account.ts";
import type { StayFacts } from "./stay-facts.ts";
import { lostIn, numbersOf } from "./stay-numbers.ts";

/** Packets of a companion that one stay should have had, and had. */
export interface CompanionCount {
  readonly sentPackets: number;
  readonly receivedPackets: number;
}

/** @returns null where the stay has no companion or nobody can say */
export function companionCount(
  run: CompiledRun,
  { stream, join, reception }: StayFacts,
  agents: ReadonlyMap<string, AgentAccount>,
): CompanionCount | null {
  const companion = run.companions.find((one) => one.of === stream.name && one.listener === join.agent);
  if (companion === undefined || reception === null) return null;
  const { joinRequestedNs: fromNs, leaveRequestedNs: toNs } = reception.membership;
  const own = agents
    .get(join.agent)
    ?.receptions.get(companion.stream.streamId)
    ?.find(({ membership }) => Math.abs(membership.joinRequestedNs - fromNs) < SAME_JOIN_NS);
  if (own === undefined || toNs === null) return null;
  // It keeps its pace when the stream's own changes.
  const timeline = run.scenario.timeline.filter(({ kind }) => kind !== "set");
  const steady = { ...run, scenario: { ...run.scenario, timeline } };
  const source = accountOfSource(steady, companion.stream, agents);
  if (source === null) return null;
  const warmUpNs = run.scenario.expect.warmUpNs ?? null;
  const { window, unknown, missing } = numbersOf(join, companion.stream, own, source, warmUpNs);
  if (window === null) return null;
  const sentPackets = window[1] - window[0] + 1 - countRanges(unknown);
  return { sentPackets, receivedPackets: sentPackets - lostIn(missing) };
}

/** Stream and companion are joined in one go. */
const SAME_JOIN_NS = 500e6;
