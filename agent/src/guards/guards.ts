import type { AgentTask, Guards } from "@dyetrace/wire";
import { Fault } from "@dyetrace/wire/fault";
import { type GroupRefusal, refuseGroup } from "@dyetrace/wire/group-guard";
import { isMulticast, parseIpAddress } from "@dyetrace/wire/ip-address";
import { isAmongPorts } from "@dyetrace/wire/port-range";
import { formatDurationNs, formatRateBps } from "@dyetrace/wire/units";
import { refuseCompanion, refuseCompanions } from "./companion-guard.ts";
import { type GuardedStream, IN_FILE, streamRefused, taskRefused } from "./guarded-stream.ts";
import { refuseJoins } from "./join-guard.ts";
import { burstBits, burstPackets } from "./send-budget.ts";

const GROUP_HINTS: Readonly<Record<GroupRefusal["kind"], string>> = {
  reserved: `Choose a group inside 239.192.0.0/14 or ff15::8000:0/97, or see allow-reserved-groups ${IN_FILE}.`,
  refused: `Choose another group, or see refused-groups ${IN_FILE}.`,
  "not-allowed": `See allowed-groups ${IN_FILE}.`,
  alias: `Choose a group that is not x.0.0.x or x.128.0.x, nor of an IPv6 group id below 0x100, or see refuse-reserved-aliases ${IN_FILE}.`,
};

/** @returns why this host does not send that stream at all, or null */
export function refuseStream(stream: GuardedStream, guards: Guards): Fault | null {
  const refuse = (reason: string, hint: string): Fault => streamRefused(stream, reason, hint);
  if (!guards.allowSending) return refuse("sending is off", `Set allow-sending ${IN_FILE}.`);
  if (stream.companionOf !== undefined) return refuseCompanion(stream, guards) ?? refuseMarks(stream, guards);
  const group = parseIpAddress(stream.group);
  if (group === null || !isMulticast(group)) return refuse("that is no group address", "Choose a multicast group.");
  const refusal = refuseGroup(group, guards);
  if (refusal !== null) return refuse(refusal.why, GROUP_HINTS[refusal.kind]);
  if (!isAmongPorts(stream.port, guards.allowedPorts)) {
    return refuse(
      `port ${stream.port} is none of ${guards.allowedPorts.join(", ") || "(none)"}`,
      `Choose another port, or see allowed-ports ${IN_FILE}.`,
    );
  }
  const { burstPackets: packets, payloadBytes } = stream;
  if (packets > burstPackets(guards) || packets * payloadBytes * 8 > burstBits(guards)) {
    return refuse(
      `${packets} packets of ${payloadBytes} B back to back are more than a quarter of a second's allowance`,
      `Lower the burst, or see max-rate and max-packets-per-second ${IN_FILE}.`,
    );
  }
  return refuseMarks(stream, guards);
}

/** Companions are held to these as well. */
function refuseMarks(stream: GuardedStream, guards: Guards): Fault | null {
  if (stream.ttl > guards.maxTtl) {
    return streamRefused(stream, `TTL ${stream.ttl} exceeds ${guards.maxTtl}`, `Lower it, or see max-ttl ${IN_FILE}.`);
  }
  if (stream.dscp > guards.maxDscp) {
    const hint = `Send best effort, or see max-dscp ${IN_FILE}.`;
    return streamRefused(stream, `DSCP ${stream.dscp} exceeds ${guards.maxDscp}`, hint);
  }
  return null;
}

/** @returns why this host does not send all these streams at the same time, or null */
export function refuseLoad(streams: readonly GuardedStream[], guards: Guards): Fault | null {
  const refuse = (reason: string, hint: string): Fault => taskRefused(`send so much: ${reason}`, hint);
  const count = streams.filter(({ companionOf }) => companionOf === undefined).length;
  if (count > guards.maxStreams) {
    return refuse(`${count} streams exceed ${guards.maxStreams}`, `Send fewer, or see max-streams ${IN_FILE}.`);
  }
  const companions = refuseCompanions(streams, guards);
  if (companions !== null) return companions;
  const rateBps = streams.reduce((sum, stream) => sum + stream.rateBps, 0);
  if (rateBps > guards.maxRateBps) {
    return refuse(
      `${formatRateBps(rateBps)} exceeds ${formatRateBps(guards.maxRateBps)}`,
      `Lower it, or see max-rate ${IN_FILE}.`,
    );
  }
  const packetsPerSecond = streams.reduce((sum, stream) => sum + stream.rateBps / (8 * stream.payloadBytes), 0);
  if (packetsPerSecond > guards.maxPacketsPerSecond) {
    return refuse(
      `${Math.ceil(packetsPerSecond)} packets/s exceed ${guards.maxPacketsPerSecond}`,
      `Send larger or fewer packets, or see max-packets-per-second ${IN_FILE}.`,
    );
  }
  return null;
}

/**
 * Walks through a task's actions and refuses it if at any time it would exceed the guards. The sender asks again before
 * each stream that it starts or changes.
 */
export function refuseTask(task: AgentTask, guards: Guards): Fault | null {
  const streams = new Map<number, GuardedStream>(task.streams.map((stream) => [stream.streamId, stream]));
  const sending = new Set<number>();
  for (const action of task.actions) {
    const stream = streams.get(action.streamId);
    if (stream === undefined) {
      return new Fault("MESSAGE_INVALID", `The task acts on stream ${action.streamId}, which it does not describe`, "");
    }
    if (action.kind === "join" || action.kind === "leave") continue;
    if (action.kind === "stop") {
      // As the sender does it: a stream's companions end with it.
      for (const id of sending) if (streams.get(id)?.companionOf === action.streamId) sending.delete(id);
      sending.delete(action.streamId);
    }
    if (action.kind === "emit") sending.add(action.streamId);
    const { rateBps = stream.rateBps, payloadBytes = stream.payloadBytes } = action;
    const changed = { ...stream, rateBps, payloadBytes };
    streams.set(action.streamId, changed);
    const running = [...sending].flatMap((streamId) => streams.get(streamId) ?? []);
    const refusal = action.kind === "stop" ? null : (refuseStream(changed, guards) ?? refuseLoad(running, guards));
    if (refusal !== null) return refusal;
  }
  return refuseJoins(task, guards) ?? refuseTimes(task, guards);
}

function refuseTimes(task: AgentTask, guards: Guards): Fault | null {
  if (!task.actions.some((action) => action.kind === "emit")) return null;
  if (task.endNs > guards.maxDurationNs) {
    const [asked, most] = [formatDurationNs(task.endNs), formatDurationNs(guards.maxDurationNs)];
    return taskRefused(`send for ${asked}: the most is ${most}`, `See max-duration ${IN_FILE}.`);
  }
  if (task.holdNs > guards.maxHoldNs) {
    const [asked, most] = [formatDurationNs(task.holdNs), formatDurationNs(guards.maxHoldNs)];
    return taskRefused(
      `go on sending for ${asked} without its controller: the most is ${most}`,
      `Lower the scenario's hold, or see max-hold ${IN_FILE}.`,
    );
  }
  return null;
}
