import Type, { type Static } from "@dyetrace/schema";
import { words } from "../bounds.ts";
import type { DeepReadonly } from "../deep-readonly.ts";

/**
 * What a host allows of any source on it. Only the host's own configuration sets these; no controller can exceed them.
 */
export const GuardsSchema = Type.Object({
  /** False refuses every stream. */
  allowSending: Type.Boolean(),
  /** All streams of the host together, UDP payload bits per second. */
  maxRateBps: Type.Number({ exclusiveMinimum: 0 }),
  /** All streams of the host together. Small packets trip storm control long before their bit-rate says so. */
  maxPacketsPerSecond: Type.Number({ exclusiveMinimum: 0 }),
  /** Ranges such as `239.195.0.0/16` or `ff15::/16`. A group must lie in one of these… */
  allowedGroups: Type.Array(words(49), { maxItems: 256 }),
  /** …and in none of these. */
  refusedGroups: Type.Array(words(49), { maxItems: 256 }),
  /** Refuse groups whose Ethernet address is that of a link-local group (01:00:5e:00:00:xx, RFC 1112 6.4). */
  refuseReservedAliases: Type.Boolean(),
  /** Ranges of host addresses to which a slow unicast companion may go. Empty: to none. */
  companionHosts: Type.Array(words(49), { maxItems: 256 }),
  maxTtl: Type.Integer({ minimum: 1, maximum: 255 }),
  /** 0 is best effort only. */
  maxDscp: Type.Integer({ minimum: 0, maximum: 63 }),
  /** From a run's start to the deadline of its sources. */
  maxDurationNs: Type.Number({ exclusiveMinimum: 0 }),
  maxStreams: Type.Integer({ minimum: 1, maximum: 4096 }),
});
export type Guards = DeepReadonly<Static<typeof GuardsSchema>>;

/** Sending is off until the host's own file allows it; the figures are cautious ones for a live site (common practice, no source). */
export const DEFAULT_GUARDS: Guards = {
  allowSending: false,
  maxRateBps: 10e6,
  maxPacketsPerSecond: 1000,
  allowedGroups: ["224.0.0.0/4", "ff00::/8"],
  refusedGroups: [
    "224.0.0.0/24", // link-local control, always flooded (RFC 5771 section 4, RFC 4541 2.1.2)
    "224.0.1.0/24", // internetwork control: clocks, announcements (RFC 5771 section 5)
    "232.0.0.0/24", // reserved in the source-specific range (RFC 4607 section 1)
    "239.255.0.0/16", // local scope, where discovery and stage control live (RFC 2365 6.1)
    "ff01::/16", // interface-local (RFC 4291 2.7)
    "ff02::/16", // link-local: neighbour discovery, routing
  ],
  refuseReservedAliases: true,
  companionHosts: [
    "10.0.0.0/8", // private addresses (RFC 1918 section 3)
    "172.16.0.0/12",
    "192.168.0.0/16",
    "169.254.0.0/16", // link-local (RFC 3927)
    "fc00::/7", // unique local (RFC 4193)
  ],
  maxTtl: 16,
  maxDscp: 0,
  maxDurationNs: 24 * 3600e9,
  maxStreams: 64,
};
