import type { IntervalReport, ListenerInterval, WatcherReport } from "@dyetrace/wire";
import { ListenedStream } from "../../../agent/src/sockets/listened-stream.ts";
import type { AgentEvidence, RunEvidence } from "../../../controller/src/account/run-evidence.ts";
import type { CompiledRun } from "../../../controller/src/plan/compiled-run.ts";
import { NO_HOST_COUNTERS, NOTHING_FOREIGN } from "../quiet-host.ts";
import type { MediaPacket } from "./draw-media.ts";

/** Ways on which a packet does not come, by the place of the packet in the stream. */
export type ComesTo = (agent: string, packet: number) => "comes" | "lost" | "twice";

export interface FollowOptions {
  readonly sender: string;
  /** How far each agent's instants lie from the controller's clock, ns. */
  readonly clockOffNs?: (agent: string) => number;
  /** On top of 1 ms, ns. */
  readonly delayNs?: (agent: string, packet: number) => number;
  /** Of agents that do not join: whether some program on their host has. Null: the agent can't watch. */
  readonly isHostMember?: (agent: string) => boolean | null;
}

const SECOND_NS = 1e9;

/** What agents report of a stream that flows by itself from before the run to after it: the agent's own code follows it. */
export function followMedia(
  run: CompiledRun,
  media: readonly MediaPacket[],
  comesTo: ComesTo,
  options: FollowOptions,
): RunEvidence {
  const agents = [...run.tasks.keys()].map((agent) => evidenceOf(agent, run, media, comesTo, options));
  return {
    startedAt: new Date(0),
    endedAt: new Date(run.endNs / 1e6),
    agents: new Map(agents.map((one) => [one.agent, one])),
    absent: [],
    isAborted: false,
    stopReason: null,
    isComplete: true,
  };
}

interface Arrival {
  readonly atNs: number;
  readonly bytes: Uint8Array;
}

/** Of a host that watched all the time and heard nobody ask. */
const QUIET_WATCH: WatcherReport = { sinceNs: -1e9, streams: [], membership: [], unlistedMembership: 0, dropped: 0 };

function evidenceOf(
  agent: string,
  run: CompiledRun,
  media: readonly MediaPacket[],
  comesTo: ComesTo,
  { sender, clockOffNs = () => 0, delayNs = () => 0, isHostMember = () => null }: FollowOptions,
): AgentEvidence {
  const joins = run.joins.filter((join) => join.agent === agent);
  const task = run.tasks.get(agent);
  const stream = task?.streams[0];
  const offNs = clockOffNs(agent);
  const arrivals: Arrival[] = [];
  for (const [index, { bytes, atNs }] of media.entries()) {
    const comes = comesTo(agent, index);
    if (comes === "lost") continue;
    const arrivalNs = atNs + 1e6 + delayNs(agent, index) + offNs;
    arrivals.push({ atNs: arrivalNs, bytes });
    if (comes === "twice") arrivals.push({ atNs: arrivalNs + 50_000, bytes });
  }
  arrivals.sort((a, b) => a.atNs - b.atNs);
  const listened = stream === undefined ? null : new ListenedStream(stream, SECOND_NS, true);
  const reports: IntervalReport[] = [];
  const actions = joins
    .flatMap(({ fromNs, toNs }) => [
      { atNs: fromNs, kind: "join" as const },
      { atNs: toNs ?? run.endNs, kind: "leave" as const },
    ])
    .sort((a, b) => a.atNs - b.atNs);
  const isMember = joins.length === 0 ? isHostMember(agent) : null;
  if (isMember !== null) actions.push({ atNs: 0, kind: "join" }, { atNs: run.endNs, kind: "leave" });
  let next = 0;
  let action = 0;
  const upTo = (untilNs: number): void => {
    for (;;) {
      const [due, packet] = [actions[action], arrivals[next]];
      const isAction = due !== undefined && due.atNs <= untilNs && (packet === undefined || due.atNs <= packet.atNs);
      if (isAction) {
        if (due.kind === "join") listened?.joined(due.atNs, isMember);
        else listened?.left(due.atNs);
        action += 1;
      } else if (packet !== undefined && packet.atNs < untilNs) {
        listened?.follow(packet.bytes, 0, packet.bytes.length, packet.bytes.length, packet.atNs, 60, 0, () => sender);
        next += 1;
      } else return;
    }
  };
  for (let index = 0; index * SECOND_NS < run.endNs; index++) {
    const [fromNs, toNs] = [index * SECOND_NS, Math.min((index + 1) * SECOND_NS, run.endNs)];
    const isLast = toNs === run.endNs;
    upTo(toNs);
    const listeners = (listened?.takeParts(index, toNs, isLast) ?? []).map(
      ({ receipt, membership, followed, isHostMember: watched }): ListenerInterval => ({
        streamId: stream?.streamId ?? 0,
        receipt,
        memberships: [membership],
        hostLostPackets: 0,
        socketStreams: 1,
        foreign: NOTHING_FOREIGN,
        ...(followed === null ? {} : { followed }),
        ...(watched === null ? {} : { watched: { isMember: watched, unreadFrames: 0 } }),
      }),
    );
    const groupsInUse = isMember === true && stream !== undefined ? [stream.streamId] : [];
    const totals = isLast ? { listeners: [], senders: [], groupsInUse } : null;
    reports.push({ fromNs, toNs, listeners, senders: [], host: NO_HOST_COUNTERS, sourcesStopped: null, totals });
  }
  const watch = isMember === null ? [] : reports.map(() => QUIET_WATCH);
  return { agent, reports, watch, final: reports.at(-1) ?? null, clock: null, lostAtNs: null, troubles: [] };
}
