import { type AgentTask, Fault, formatDurationNs, type TaskAction } from "@dyetrace/wire";
import { accountOfAgent } from "../account/agent-account.ts";
import type { RunEvidence } from "../account/run-evidence.ts";
import type { CompiledRun } from "../plan/compiled-run.ts";
import { SETTLE_AFTER_LEAVE_NS } from "../plan/settle-times.ts";

/** Groups that every agent joins for the look; of more, they only watch the wire, lest the look itself fill group tables. */
const MOST_JOINED = 8;

export interface Look {
  /** Of the look itself. */
  readonly runId: string;
  readonly durationNs: number;
  /** Agents that are there: one that is away and has nothing to do in the run is not needed for the look either. */
  readonly connected: ReadonlySet<string>;
  /** False: agents only watch, which is enough to hear queries. A member, even for a second, would be a cause of what the run measures. */
  readonly isJoining: boolean;
}

/**
 * The same run with nothing sent: every agent watches its network card for the streams' groups and ports, and where
 * asked to joins the first of the groups, so that traffic which somebody else sends to them shows. Those memberships
 * are left, and waited out, before the look ends: no frame of the run is delivered on their account.
 */
export function compileLook(run: CompiledRun, { runId, durationNs, connected, isJoining }: Look): CompiledRun {
  const joined = isJoining ? run.streams.slice(0, MOST_JOINED) : [];
  const endNs = isJoining ? durationNs + SETTLE_AFTER_LEAVE_NS : durationNs;
  const actions: TaskAction[] = joined.flatMap(({ streamId }) => [{ kind: "join", atNs: 0, streamId }]);
  for (const { streamId } of joined) actions.push({ kind: "leave", atNs: durationNs, streamId });
  const tasks = new Map(
    [...run.tasks].map(([agent, task]): [string, AgentTask] => {
      const isNeeded = connected.has(agent) || task.actions.length > 0;
      return [agent, { ...task, runId, actions: isNeeded ? actions : [], endNs }];
    }),
  );
  const scenario = { ...run.scenario, timeline: [], durationNs };
  return { ...run, runId, scenario, joins: [], tasks, endNs };
}

export const describeLook = (run: CompiledRun, durationNs: number): string => {
  const rest =
    run.streams.length > MOST_JOINED ? `, joining the first ${MOST_JOINED} of ${run.streams.length} groups` : "";
  return `Looking for ${formatDurationNs(durationNs)} whether anything is on these groups and ports already${rest}`;
};

/** @returns what was on the streams' groups and ports although we sent nothing, one sentence for each stream */
export function strangeTraffic(look: CompiledRun, evidence: RunEvidence): string[] {
  const agents = [...evidence.agents.values()].map(accountOfAgent);
  return look.streams.flatMap((stream) => {
    const heardBy = agents.flatMap(({ agent, watch, strangers }) => {
      const seen = watch.framesOf(stream.streamId);
      const onWire = (seen?.foreignFrames ?? 0) + (seen?.frames ?? 0);
      const { packets: atSocket, sources } = strangers.get(stream.streamId) ?? { packets: 0, sources: [] };
      return onWire + atSocket > 0 ? [{ agent, packets: Math.max(onWire, atSocket), sources }] : [];
    });
    const [first] = heardBy;
    if (first === undefined) return [];
    const sources = new Set(heardBy.flatMap((one) => one.sources));
    const from = sources.size === 0 ? "" : ` from ${[...sources].slice(0, 3).join(", ")}`;
    const rest = heardBy.length - 1;
    const others =
      rest === 0 ? "" : rest === 1 ? ", and one more agent saw some" : `, and ${rest} more agents saw some`;
    const what = `${stream.group} port ${stream.port} (${stream.name}) is in use`;
    return [`${what}: ${first.agent} saw ${first.packets} packets${from}${others}`];
  });
}

/** @throws {Fault} GROUP_IN_USE unless nothing was there */
export function refuseStrangeTraffic(look: CompiledRun, evidence: RunEvidence): void {
  const [first, ...more] = strangeTraffic(look, evidence);
  if (first === undefined) return;
  const rest = more.length === 0 ? "" : `; and ${more.length} more of the scenario's groups`;
  throw new Fault(
    "GROUP_IN_USE",
    `${first}${rest}`,
    "Choose another group or port, or insist with --despite-traffic if it may be disturbed",
  );
}
