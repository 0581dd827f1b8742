import { StreamTracker } from "@dyetrace/measure";
import type { IntervalReport, ListenerInterval, SenderInterval } from "@dyetrace/wire";
import type { AgentEvidence, RunEvidence } from "../../controller/src/account/run-evidence.ts";
import type { CompiledRun, CompiledStream, PlannedJoin } from "../../controller/src/plan/compiled-run.ts";
import { sendingStretches } from "../../controller/src/plan/sending-stretches.ts";
import { NO_HOST_COUNTERS, NOTHING_FOREIGN } from "./quiet-host.ts";

/** Whether one packet does not come to one listener. */
export type IsLost = (stream: string, agent: string, seq: number, sentNs: number) => boolean;

const SECOND_NS = 1e9;
/** Time from the source to any listener, and from a join to its effect. */
const DELAY_NS = 1e6;

interface Sent {
  readonly seq: number;
  readonly atNs: number;
}

/** What agents without a watcher say of a run in which just these packets are lost: a report each second, as real ones do. */
export function simulateEvidence(run: CompiledRun, isLost: IsLost): RunEvidence {
  const sent = new Map(run.streams.map((stream) => [stream.name, packetsOf(run, stream)]));
  const agents = [...run.tasks.keys()].map((agent) => evidenceOf(agent, run, sent, isLost));
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

function packetsOf(run: CompiledRun, stream: CompiledStream): Sent[] {
  const packets: Sent[] = [];
  for (const { startNs, endNs, rateBps, payloadBytes } of sendingStretches(run, stream)) {
    const intervalNs = (payloadBytes * 8e9) / rateBps;
    for (let atNs = startNs; atNs < endNs; atNs += intervalNs) packets.push({ seq: packets.length, atNs });
  }
  return packets;
}

function evidenceOf(
  agent: string,
  run: CompiledRun,
  sent: ReadonlyMap<string, readonly Sent[]>,
  isLost: IsLost,
): AgentEvidence {
  const streams = new Map(run.streams.map((stream) => [stream.name, stream]));
  const listening = run.joins
    .filter((join) => join.agent === agent)
    .map((join) =>
      listener(join, streams.get(join.stream)?.streamId ?? 0, run.endNs, sent.get(join.stream) ?? [], isLost),
    );
  const sources = run.streams.filter(({ source }) => source === agent);
  const reports: IntervalReport[] = [];
  for (let index = 0; index * SECOND_NS < run.endNs; index++) {
    const [fromNs, toNs] = [index * SECOND_NS, Math.min((index + 1) * SECOND_NS, run.endNs)];
    const senders = sources.map((stream) => senderPart(stream, sent.get(stream.name) ?? [], fromNs, toNs));
    const listeners = listening.flatMap((cutAt) => cutAt(toNs) ?? []);
    const report = { index, fromNs, toNs, listeners, senders, host: NO_HOST_COUNTERS, sourcesStopped: null };
    reports.push({ ...report, totals: null });
  }
  const last = reports.at(-1);
  if (last === undefined) throw new Error("A run lasts some time");
  const senders = sources.map((stream) => senderPart(stream, sent.get(stream.name) ?? [], 0, run.endNs));
  const final = { ...last, totals: { listeners: [], senders } };
  return {
    agent,
    reports: [...reports.slice(0, -1), final],
    watch: [],
    final,
    clock: null,
    lostAtNs: null,
    troubles: [],
  };
}

function senderPart({ streamId }: CompiledStream, sent: readonly Sent[], fromNs: number, toNs: number): SenderInterval {
  const own = sent.filter(({ atNs }) => atNs >= fromNs && atNs < toNs);
  return {
    streamId,
    senderId: streamId,
    sentPackets: own.length,
    sentBytes: own.length * 100,
    firstSeq: own[0]?.seq ?? null,
    lastSeq: own.at(-1)?.seq ?? null,
    sendErrors: { enobufs: 0, eagain: 0, other: 0 },
    lastError: null,
    skippedPackets: 0,
    pacing: null,
    stalls: [],
  };
}

/** @returns what this stay adds to the report that ends at an instant; call in order of time */
function listener(
  { stream, agent, fromNs, toNs }: PlannedJoin,
  streamId: number,
  endNs: number,
  sent: readonly Sent[],
  isLost: IsLost,
): (cutNs: number) => ListenerInterval | null {
  const untilNs = toNs ?? endNs;
  const tracker = new StreamTracker({ mediaRateBps: null, seesHostDrops: false });
  const coming = sent.filter(
    ({ seq, atNs }) => atNs >= fromNs + DELAY_NS && atNs < untilNs && !isLost(stream, agent, seq, atNs),
  );
  let next = 0;
  let isOver = false;
  return (cutNs) => {
    if (isOver || cutNs <= fromNs) return null;
    for (let one = coming[next]; one !== undefined && one.atNs + DELAY_NS < cutNs; one = coming[++next]) {
      tracker.record(one.seq, one.atNs, one.atNs + DELAY_NS, 100, streamId, 1, 0);
    }
    isOver = cutNs >= untilNs;
    const [first, last] = [coming[0], coming[next - 1]];
    return {
      streamId,
      receipt: isOver ? tracker.finish() : tracker.cut(),
      memberships: [
        {
          joinRequestedNs: fromNs,
          firstPacketNs: next === 0 || first === undefined ? null : first.atNs + DELAY_NS,
          lastPacketNs: last === undefined ? null : last.atNs + DELAY_NS,
          leaveRequestedNs: isOver ? untilNs : null,
        },
      ],
      hostLostPackets: null,
      socketStreams: 1,
      foreign: NOTHING_FOREIGN,
    };
  };
}
