import { COMPANION_PACKETS_PER_SECOND, COMPANION_PAYLOAD_BYTES, parseIpAddress, type TaskStream } from "@dyetrace/wire";
import type { AgentAddresses, CompiledCompanion, CompiledStream, PlannedJoin } from "./compiled-run.ts";

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
