import Type, { type Static } from "@dyetrace/schema";
import { Count, DurationNs, words } from "../bounds.ts";
import type { DeepReadonly } from "../deep-readonly.ts";
import { Nullable } from "../nullable.ts";
import { MOST_SIGHT_ASKS, MOST_SIGHT_FLOWS, MOST_SIGHT_QUERIERS } from "./sight-limits.ts";

/** How long a look may last, ns. */
export const SHORTEST_LOOK_NS = 1e9;
export const LONGEST_LOOK_NS = 600e9;

const Address = words(45);
const Hardware = Type.String({ pattern: "^[0-9a-f]{2}(:[0-9a-f]{2}){5}$" });
const Byte = Type.Integer({ minimum: 0, maximum: 255 });
const Dscp = Type.Integer({ minimum: 0, maximum: 63 });
const Size = Type.Integer({ minimum: 0, maximum: 65_535 });

/**
 * What the payload looks like by its first bytes over several packets: RTP (RFC 3550), an MPEG transport stream (ISO/IEC
 * 13818-1) by itself or in RTP (RFC 2250), a test packet of this program, anything else.
 */
export const PayloadLookSchema = Type.Union([
  Type.Literal("rtp"),
  Type.Literal("rtp-with-ts"),
  Type.Literal("ts"),
  Type.Literal("test"),
  Type.Literal("other"),
]);
export type PayloadLook = Static<typeof PayloadLookSchema>;

/** One sender to one group and port, as one network card saw it. Of no packet the payload is kept. */
export const SightFlowSchema = Type.Object({
  group: Address,
  /** Number of the IP protocol; 17 is UDP. */
  protocol: Byte,
  /** UDP destination port; null for another protocol. */
  port: Nullable(Size),
  source: Address,
  /** Ethernet source of the first frame: the sender's own, or that of the last router on the way. */
  hardware: Hardware,
  /** Frames with another Ethernet source than that one. */
  otherHardwareFrames: Count,
  /** VLAN of a tag that this interface is no member of; null without one. */
  vlanId: Nullable(Type.Integer({ minimum: 1, maximum: 4095 })),
  /** `out`: this host sent it. */
  direction: Type.Union([Type.Literal("in"), Type.Literal("out")]),
  frames: Count,
  /** Of UDP the payload, of others what the IP header carries: bytes of all frames, and of the smallest and largest. */
  bytes: Count,
  leastBytes: Size,
  mostBytes: Size,
  /** First and last frame, ns after the look began. */
  firstNs: DurationNs,
  lastNs: DurationNs,
  ttlLow: Byte,
  ttlHigh: Byte,
  dscpLow: Dscp,
  dscpHigh: Dscp,
  /** Of `frames`, those in an Ethernet frame to this host alone. */
  asUnicastFrames: Count,
  /** Null where too few packets came to tell. */
  look: Nullable(PayloadLookSchema),
});
export type SightFlow = DeepReadonly<Static<typeof SightFlowSchema>>;

/** The last that one host was heard to say about a group, in the look or in the minutes before. */
export const SightAskSchema = Type.Object({
  group: Address,
  host: Address,
  hardware: Hardware,
  /** Whether it wants the group, or has left it. */
  isWanted: Type.Boolean(),
  /** How long before the look's end, ns. */
  agoNs: DurationNs,
});
export type SightAsk = DeepReadonly<Static<typeof SightAskSchema>>;

export const SightQuerierSchema = Type.Object({
  address: Address,
  hardware: Hardware,
  protocol: Type.Union([Type.Literal("igmp"), Type.Literal("mld")]),
  version: Type.Union([Type.Literal(1), Type.Literal(2), Type.Literal(3)]),
  agoNs: DurationNs,
});

/** What one agent saw at its network card while it looked: nothing was joined and nothing was sent. */
export const AgentSightSchema = Type.Object({
  /** How long it watched, ns. */
  lookedNs: DurationNs,
  /** False: the interface went down meanwhile, and it saw nothing from then on. */
  isWhole: Type.Boolean(),
  flows: Type.Array(SightFlowSchema, { maxItems: MOST_SIGHT_FLOWS }),
  /** Frames of senders that found no room in `flows`. */
  furtherFrames: Count,
  asks: Type.Array(SightAskSchema, { maxItems: MOST_SIGHT_ASKS }),
  /** What was said about groups and found no room in `asks`. */
  furtherAsks: Count,
  queriers: Type.Array(SightQuerierSchema, { maxItems: MOST_SIGHT_QUERIERS }),
  /** Groups that a program of this host is a member of on this interface; null where the kernel does not tell. */
  joined: Nullable(Type.Array(Address, { maxItems: 4096 })),
  /** The host's own addresses on this interface with their prefix length, such as `192.0.2.7/24`. */
  addresses: Type.Array(words(49), { maxItems: 64 }),
  /** Frames that the kernel could not hand over: every count is then a lower bound. */
  dropped: Count,
});
export type AgentSight = DeepReadonly<Static<typeof AgentSightSchema>>;
