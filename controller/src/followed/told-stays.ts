import type { Followed, IntervalReport, ListenerInterval } from "@dyetrace/wire";
import { getOrAdd } from "../account/get-or-add.ts";
import type { AgentEvidence } from "../account/run-evidence.ts";

/** What one agent told of one stay in the group of a stream of others, report by report. */
export interface ToldStay {
  readonly agent: string;
  readonly joinRequestedNs: number;
  readonly parts: readonly ToldPart[];
}

export interface ToldPart {
  readonly report: IntervalReport;
  readonly entry: ListenerInterval;
  readonly receipt: NonNullable<ListenerInterval["receipt"]>;
  readonly followed: Followed;
}

/** Nobody on the host had joined: what came of it came unasked. */
export const isBystanders = ({ parts }: ToldStay): boolean => parts[0]?.entry.watched?.isMember === false;

/** A host that is a member without our doing. */
export const isOfHost = ({ parts }: ToldStay): boolean => parts[0]?.entry.watched?.isMember === true;

/** Agents that watched from beginning to end and could read what came, or saw something. */
export function watchersOf(stays: readonly ToldStay[]): string[] {
  const watching = new Map<string, boolean>();
  for (const stay of stays.filter(isBystanders)) {
    const sees = stay.parts.every(
      ({ entry }) => (entry.watched?.unreadFrames ?? 0) === 0 && (entry.hostLostPackets ?? 0) === 0,
    );
    const saw = stay.parts.some(({ receipt }) => receipt.received > 0);
    watching.set(stay.agent, (watching.get(stay.agent) ?? true) && (sees || saw));
  }
  return [...watching].flatMap(([agent, sees]) => (sees ? [agent] : []));
}

/** By agent and join, in the order of their reports. */
export function toldStays(streamId: number, agents: ReadonlyMap<string, AgentEvidence>): ToldStay[] {
  return [...agents.values()].flatMap(({ agent, reports }) => {
    const stays = new Map<number, ToldPart[]>();
    for (const report of reports) {
      for (const entry of report.listeners) {
        const [membership] = entry.memberships;
        const { receipt, followed } = entry;
        if (entry.streamId !== streamId || membership === undefined || receipt === null || followed === undefined)
          continue;
        getOrAdd(stays, membership.joinRequestedNs, () => []).push({ report, entry, receipt, followed });
      }
    }
    return [...stays].map(([joinRequestedNs, parts]) => ({ agent, joinRequestedNs, parts }));
  });
}
