import type { Guards } from "@dyetrace/wire";
import { isInRange, parseAddressRange } from "@dyetrace/wire/address-range";
import type { Fault } from "@dyetrace/wire/fault";
import { isMulticast, parseIpAddress } from "@dyetrace/wire/ip-address";
import { isAmongPorts } from "@dyetrace/wire/port-range";
import { COMPANION_PACKETS_PER_SECOND, COMPANION_PAYLOAD_BYTES } from "@dyetrace/wire/test-packet";
import { type GuardedStream, IN_FILE, streamRefused, taskRefused } from "./guarded-stream.ts";

const LIMITED_BROADCAST = "255.255.255.255";

/**
 * A companion goes to one host and is slow: no controller may aim anything else at a host.
 * @returns why this host does not send that companion, or null
 */
export function refuseCompanion(stream: GuardedStream, guards: Guards): Fault | null {
  const refuse = (reason: string, hint: string): Fault => streamRefused(stream, reason, hint);
  const host = parseIpAddress(stream.group);
  if (host === null || isMulticast(host) || stream.group === LIMITED_BROADCAST) {
    return refuse("a companion goes to a host's own address", "Give the listener an address on the tested interface.");
  }
  if (!guards.companionHosts.some((text) => isInRange(host, parseAddressRange(text)))) {
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

/**
 * Companions go beside a stream that is being sent, to its port, one to each host, and only so many.
 * @param streams all that this host would send at the same time
 * @returns why it does not send them together, or null
 */
export function refuseCompanions(streams: readonly GuardedStream[], guards: Guards): Fault | null {
  const companions = streams.filter(({ companionOf }) => companionOf !== undefined);
  if (companions.length > guards.maxCompanions) {
    return taskRefused(
      `send ${companions.length} companions at once: the most is ${guards.maxCompanions}`,
      `Let fewer streams have one, or see max-companions ${IN_FILE}.`,
    );
  }
  const sent = new Map(
    streams.filter(({ companionOf }) => companionOf === undefined).map((one) => [one.streamId, one]),
  );
  const seen = new Set<string>();
  for (const companion of companions) {
    const beside = sent.get(companion.companionOf ?? -1);
    if (beside === undefined) return streamRefused(companion, "a companion goes only beside a stream that is sent", "");
    if (beside.port !== companion.port) {
      return streamRefused(companion, `a companion goes to the port of its stream, ${beside.port}`, "");
    }
    const pair = `${companion.companionOf} ${companion.group}`;
    if (seen.has(pair)) return streamRefused(companion, "a stream has one companion to a host", "");
    seen.add(pair);
  }
  return null;
}
