import type { Guards } from "@dyetrace/wire";
import { isInRange, parseAddressRanges } from "@dyetrace/wire/address-range";
import type { Fault } from "@dyetrace/wire/fault";
import { isMulticast, parseIpAddress } from "@dyetrace/wire/ip-address";
import { isAmongPorts } from "@dyetrace/wire/port-range";
import { COMPANION_PACKETS_PER_SECOND, COMPANION_PAYLOAD_BYTES } from "@dyetrace/wire/test-packet";
import { type GuardedStream, IN_FILE, streamRefused } from "./guarded-stream.ts";

const LIMITED_BROADCAST = "255.255.255.255";

/** A companion goes to one host that is allowed. @returns why this host does not send that companion, or null */
export function refuseCompanionPlace(stream: GuardedStream, guards: Guards): Fault | null {
  const refuse = (reason: string, hint: string): Fault => streamRefused(stream, reason, hint);
  const host = parseIpAddress(stream.group);
  if (host === null || isMulticast(host) || stream.group === LIMITED_BROADCAST) {
    return refuse("a companion goes to a host's own address", "Give the listener an address on the tested interface.");
  }
  if (!parseAddressRanges(guards.companionHosts).some((range) => isInRange(host, range))) {
    return refuse(
      `companions go only to ${guards.companionHosts.join(", ") || "no host"}`,
      `See companion-hosts ${IN_FILE}, or leave the companion out.`,
    );
  }
  if (!isAmongPorts(stream.port, guards.companionPorts)) {
    return refuse(
      `companions go only to the ports ${guards.companionPorts.join(", ") || "(none)"}, not to ${stream.port}`,
      `Give the stream one of those, see companion-ports ${IN_FILE}, or leave the companion out.`,
    );
  }
  return null;
}

/** It is slow: no controller may aim anything else at a host. */
export function refuseCompanionSize(stream: GuardedStream): Fault | null {
  const { rateBps, payloadBytes, burstPackets } = stream;
  const mostBps = COMPANION_PACKETS_PER_SECOND * COMPANION_PAYLOAD_BYTES * 8;
  if (rateBps <= mostBps && payloadBytes <= COMPANION_PAYLOAD_BYTES && burstPackets <= 1) return null;
  const most = `at most ${COMPANION_PACKETS_PER_SECOND} packets/s of ${COMPANION_PAYLOAD_BYTES} B`;
  return streamRefused(stream, `a companion is slow: ${most}`, "");
}
