import type { Guards } from "@dyetrace/wire";
import type { Fault } from "@dyetrace/wire/fault";
import { type GroupRefusal, refuseGroup } from "@dyetrace/wire/group-guard";
import { isMulticast, parseIpAddress } from "@dyetrace/wire/ip-address";
import { isAmongPorts } from "@dyetrace/wire/port-range";
import { refuseCompanionPlace, refuseCompanionSize } from "./companion-guard.ts";
import { type GuardedStream, IN_FILE, streamRefused } from "./guarded-stream.ts";
import { burstBits, burstPackets } from "./send-budget.ts";

const GROUP_HINTS: Readonly<Record<GroupRefusal["kind"], string>> = {
  reserved: `Choose a group inside 239.192.0.0/14 or ff15::8000:0/97, or see allow-reserved-groups ${IN_FILE}.`,
  refused: `Choose another group, or see refused-groups ${IN_FILE}.`,
  "not-allowed": `See allowed-groups ${IN_FILE}.`,
  alias: `Choose a group that is not x.0.0.x or x.128.0.x, nor of an IPv6 group id below 0x100, or see refuse-reserved-aliases ${IN_FILE}.`,
};

/** @returns why this host does not send that stream at all, or null */
export const refuseStream = (stream: GuardedStream, guards: Guards): Fault | null =>
  refusePlace(stream, guards) ?? refuseSize(stream, guards);

/** What never changes of a stream: whether this host sends, where to, and what its packets bear. */
export function refusePlace(stream: GuardedStream, guards: Guards): Fault | null {
  const refuse = (reason: string, hint: string): Fault => streamRefused(stream, reason, hint);
  if (!guards.allowSending) return refuse("sending is off", `Set allow-sending ${IN_FILE}.`);
  if (stream.companionOf !== undefined) return refuseCompanionPlace(stream, guards) ?? refuseMarks(stream, guards);
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
  return refuseMarks(stream, guards);
}

/** What a change may change: its rate and the size of its packets. */
export function refuseSize(stream: GuardedStream, guards: Guards): Fault | null {
  if (stream.companionOf !== undefined) return refuseCompanionSize(stream);
  const { burstPackets: packets, payloadBytes } = stream;
  if (packets <= burstPackets(guards) && packets * payloadBytes * 8 <= burstBits(guards)) return null;
  return streamRefused(
    stream,
    `${packets} packets of ${payloadBytes} B back to back are more than a quarter of a second's allowance`,
    `Lower the burst, or see max-rate and max-packets-per-second ${IN_FILE}.`,
  );
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
