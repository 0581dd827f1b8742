import { countRanges } from "@dyetrace/measure";
import { COMPANION_PACKETS_PER_SECOND, COMPANION_PAYLOAD_BYTES, parseIpAddress, type TaskStream } from "@dyetrace/wire";
import type { AgentAddresses, CompiledRun, CompiledStream, PlannedJoin } from "./compile-scenario.ts";
import type { RunEvidence } from "./conduct-run.ts";
import { expectedNumbers, missingNumbers } from "./expected-numbers.ts";
import { accountOf, type Stay } from "./stays.ts";
import { receptionsOf } from "./stream-evidence.ts";

/**
 * A slow unicast stream from a stream's source to one of its listeners, sent and listened to whenever the stream is.
 * Where it fails too, the fault is not multicast's.
 */
export interface CompiledCompanion {
  readonly of: string;
  readonly listener: string;
  readonly stream: CompiledStream;
}

/**
 * A companion for each stream that asks for one and each listener with an address of the group's family; the others
 * have none, and nothing is known of unicast to them.
 * @param firstId the companions' stream ids count from here
 */
export function planCompanions(
  streams: readonly CompiledStream[],
  joins: readonly PlannedJoin[],
  agents: ReadonlyMap<string, AgentAddresses>,
  firstId: number,
): CompiledCompanion[] {
  const companions: CompiledCompanion[] = [];
  for (const stream of streams.filter(({ hasCompanion }) => hasCompanion)) {
    const listeners = new Set(joins.filter((join) => join.stream === stream.name).map((join) => join.agent));
    for (const listener of listeners) {
      const address = hostAddress(stream, agents.get(listener));
      if (address === null) continue;
      const streamId = firstId + companions.length;
      companions.push({ of: stream.name, listener, stream: companionStream(stream, streamId, address) });
    }
  }
  return companions;
}

function companionStream(stream: CompiledStream, streamId: number, address: string): CompiledStream {
  return {
    ...stream,
    streamId,
    group: address,
    isSourceSpecific: false,
    rateBps: COMPANION_PACKETS_PER_SECOND * COMPANION_PAYLOAD_BYTES * 8,
    payloadBytes: COMPANION_PAYLOAD_BYTES,
    burstPackets: 1,
  };
}

/** What the source and the listener of a companion are told of it. */
export const asTaskCompanion = ({ stream, listener }: CompiledCompanion, companionOf: number): TaskStream => ({
  streamId: stream.streamId,
  name: `companion to ${listener}`.slice(0, 64),
  group: stream.group,
  port: stream.port,
  ssmSource: null,
  rateBps: stream.rateBps,
  payloadBytes: stream.payloadBytes,
  ttl: stream.ttl,
  dscp: stream.dscp,
  burstPackets: 1,
  companionOf,
});

/** Link-local IPv6 addresses need a scope that the other host does not know. */
export function hostAddress({ group }: { readonly group: string }, agent: AgentAddresses | undefined): string | null {
  if (parseIpAddress(group)?.family !== 6) return agent?.ipv4 ?? null;
  return agent?.ipv6.find((address) => !address.startsWith("fe80:")) ?? null;
}

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
