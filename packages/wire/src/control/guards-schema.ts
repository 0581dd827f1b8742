import Type, { type Static } from "@dyetrace/schema";
import { words } from "../bounds.ts";
import type { DeepReadonly } from "../deep-readonly.ts";

const ranges = () => Type.Array(words(49), { maxItems: 256 });
const portRanges = () => Type.Array(words(16), { maxItems: 256 });

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
  allowedGroups: ranges(),
  /** …and in none of these, which come on top of the reserved ones (`group-guard.ts`), never in their place. */
  refusedGroups: ranges(),
  /** Reserved groups that this host allows all the same. */
  allowedReservedGroups: ranges(),
  /** Refuse groups whose Ethernet address is that of a link-local group (01:00:5e:00:00:xx, RFC 1112 6.4). */
  refuseReservedAliases: Type.Boolean(),
  /** UDP ports that may be sent to and listened on, such as `48620` or `1024-65535`. */
  allowedPorts: portRanges(),
  /** Ranges of host addresses to which a slow unicast companion may go. Empty: to none. */
  companionHosts: ranges(),
  /** UDP ports that a companion may go to, whatever `allowedPorts` says of groups. */
  companionPorts: portRanges(),
  /** Companions at the same time. */
  maxCompanions: Type.Integer({ minimum: 0, maximum: 4096 }),
  /** Groups that may be joined. */
  allowedJoins: ranges(),
  /** Groups whose streams of others may be followed; absent before protocol 10: none. */
  allowedFollows: Type.Optional(ranges()),
  /** Streams of one task that are joined at some time: each has a socket and its memory from the start. */
  maxJoins: Type.Integer({ minimum: 0, maximum: 4096 }),
  maxTtl: Type.Integer({ minimum: 1, maximum: 255 }),
  /** 0 is best effort only. */
  maxDscp: Type.Integer({ minimum: 0, maximum: 63 }),
  /** From a run's start to the deadline of its sources. */
  maxDurationNs: Type.Number({ exclusiveMinimum: 0 }),
  /** How long a source goes on without a word from its controller. */
  maxHoldNs: Type.Number({ exclusiveMinimum: 0 }),
  maxStreams: Type.Integer({ minimum: 1, maximum: 4096 }),
});
export type Guards = DeepReadonly<Static<typeof GuardsSchema>>;

/** Sending is off until the host's own file allows it; the figures are cautious ones for a live site (common practice, no source). */
export const DEFAULT_GUARDS: Guards = {
  allowSending: false,
  maxRateBps: 10e6,
  maxPacketsPerSecond: 1000,
  allowedGroups: ["224.0.0.0/4", "ff00::/8"],
  refusedGroups: [],
  allowedReservedGroups: [],
  refuseReservedAliases: true,
  allowedPorts: ["1024-65535"], // no system ports (RFC 6335 section 6)
  companionHosts: [], // an agent adds the subnets of its tested interface
  // Our own, and those that no service is ever assigned (RFC 6335 section 6).
  companionPorts: ["48620-48639", "49152-65535"],
  maxCompanions: 32,
  allowedJoins: ["224.0.0.0/4", "ff00::/8"],
  allowedFollows: ["224.0.0.0/4", "ff00::/8"],
  maxJoins: 256,
  maxTtl: 16,
  maxDscp: 0,
  maxDurationNs: 24 * 3600e9,
  maxHoldNs: 600e9,
  maxStreams: 64,
};
