import type { Guards } from "@dyetrace/wire";
import type { Fault } from "@dyetrace/wire/fault";
import { isMulticast, parseIpAddress } from "@dyetrace/wire/ip-address";
import { COMPANION_PACKETS_PER_SECOND, COMPANION_PAYLOAD_BYTES } from "@dyetrace/wire/test-packet";
import { isInRange, parseGroupRange } from "./group-range.ts";
import { type GuardedStream, IN_FILE, streamRefused } from "./guarded-stream.ts";

const LIMITED_BROADCAST = "255.255.255.255";

/**
 * A companion goes to one host, is slow, and only beside a stream: no controller may aim anything else at a host.
 * @returns why this host does not send that companion, or null
 */
export function refuseCompanion(stream: GuardedStream, guards: Guards): Fault | null {
  const refuse = (reason: string, hint: string): Fault => streamRefused(stream, reason, hint);
  const host = parseIpAddress(stream.group);
  if (host === null || isMulticast(host) || stream.group === LIMITED_BROADCAST) {
    return refuse("a companion goes to a host's own address", "Give the listener an address on the tested interface.");
  }
  if (!guards.companionHosts.some((text) => isInRange(host, parseGroupRange(text)))) {
    return refuse(
      `companions go only to ${guards.companionHosts.join(", ") || "no host"}`,
      `See companion-hosts ${IN_FILE}, or leave the companion out.`,
    );
  }
  const { rateBps, payloadBytes, burstPackets } = stream;
  const mostBps = COMPANION_PACKETS_PER_SECOND * COMPANION_PAYLOAD_BYTES * 8;
  if (rateBps > mostBps || payloadBytes > COMPANION_PAYLOAD_BYTES || burstPackets > 1) {
    return refuse(
      `a companion is slow: at most ${COMPANION_PACKETS_PER_SECOND} packets/s of ${COMPANION_PAYLOAD_BYTES} B`,
      "",
    );
  }
  return null;
}
