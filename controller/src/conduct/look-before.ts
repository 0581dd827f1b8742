import { type AgentTask, formatDurationNs, type TaskAction } from "@dyetrace/wire";
import type { CompiledRun } from "../plan/compiled-run.ts";
import { SETTLE_AFTER_LEAVE_NS } from "../plan/settle-times.ts";
import { planLookJoins } from "./look-joins.ts";

export interface Look {
  /** Of the look itself. */
  readonly runId: string;
  readonly durationNs: number;
  /**
   * Agents that are there, with how many streams their hosts let them join: one that is away and has nothing to do in the
   * run is not needed for the look either.
   */
  readonly connected: ReadonlyMap<string, number>;
  /** False: agents only watch, which is enough to hear queries. A member, even for a second, would be a cause of what the run measures. */
  readonly isJoining: boolean;
}

const NO_ACTIONS: readonly TaskAction[] = [];

/**
 * The same run with nothing sent: every agent watches its network card for whatever others send to the streams' groups and
 * their kin, on any port, and where asked to joins the groups, so that it comes there. Those memberships are left, and
 * waited out, before the look ends: no frame of the run is delivered on their account.
 */
export function compileLook(run: CompiledRun, { runId, durationNs, connected, isJoining }: Look): CompiledRun {
  const joins = isJoining ? planLookJoins(run.streams, connected, durationNs) : null;
  const endNs = joins === null ? durationNs : joins.endNs + SETTLE_AFTER_LEAVE_NS;
  const tasks = new Map(
    [...run.tasks].map(([agent, task]): [string, AgentTask] => {
      const isNeeded = connected.has(agent) || task.actions.length > 0;
      const actions = isNeeded ? (joins?.actions.get(agent) ?? NO_ACTIONS) : NO_ACTIONS;
      return [agent, { ...task, runId, actions: [...actions], endNs, looksForUse: true }];
    }),
  );
  const scenario = { ...run.scenario, timeline: [], durationNs };
  return { ...run, runId, partOf: run.runId, scenario, joins: [], tasks, endNs };
}

export function describeLook(
  run: CompiledRun,
  { connected, durationNs }: Pick<Look, "connected" | "durationNs">,
): string {
  const { endNs, unjoined } = planLookJoins(run.streams, connected, durationNs);
  const watchedOnly = unjoined === 0 ? "" : `; ${unjoined} of the groups are only watched for, not joined`;
  return `Looking for ${formatDurationNs(endNs)} whether anybody uses these groups already, on any port, or others with the same Ethernet addresses${watchedOnly}`;
}
