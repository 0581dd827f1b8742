import Type, { type Static } from "@dyetrace/schema";
import { Count, Ns, words } from "../bounds.ts";
import type { DeepReadonly } from "../deep-readonly.ts";
import { MOST_WIFI_SIGHTS } from "../station/join-wifi-sights.ts";
import { WifiFactsSchema, WifiSightSchema } from "../station/wifi-sight-schema.ts";
import { FollowedSchema } from "./followed-schema.ts";
import { GuardsSchema } from "./guards-schema.ts";
import { StreamReceiptSchema } from "./receipt-schema.ts";

/**
 * What an agent can do, and what it measured in one interval of a run. Unknown is null, never 0: a host that cannot
 * read a counter says so. Times named `…Ns` are nanoseconds after the run's start instant on the agent's monotonic
 * clock, unless the name says otherwise.
 */
const Nullable = <T extends Type.TSchema>(schema: T) => Type.Union([schema, Type.Null()]);
const Address = words(64);

export const AgentInterfaceSchema = Type.Object({
  name: words(256),
  index: Nullable(Count),
  ipv4: Nullable(Address),
  /** Link-local ones included, without zone. */
  ipv6: Type.Array(Address, { maxItems: 64 }),
  /** As `02:00:5e:10:00:01`. */
  mac: Nullable(words(64)),
  mtuBytes: Nullable(Count),
  speedBps: Nullable(Type.Number({ exclusiveMinimum: 0, maximum: Number.MAX_SAFE_INTEGER })),
  /** Where it was on the air when the agent began; absent where the kernel does not tell, or it is no station. */
  wifi: Type.Optional(WifiFactsSchema),
  isUp: Nullable(Type.Boolean()),
  isWireless: Nullable(Type.Boolean()),
});
export type AgentInterface = DeepReadonly<Static<typeof AgentInterfaceSchema>>;

export const AgentCapabilitiesSchema = Type.Object({
  /** `linux`: kernel sockets through libc. `portable`: what the run-time offers everywhere, which sees less. */
  sockets: Type.Union([Type.Literal("linux"), Type.Literal("portable")]),
  platform: words(64),
  osRelease: words(256),
  architecture: words(64),
  nodeVersion: words(64),
  /** Arrival times are the kernel's, not those of our reading. */
  kernelTimestamps: Type.Boolean(),
  /** Packets that the host itself dropped are counted apart. */
  hostLossCount: Type.Boolean(),
  ttlSeen: Type.Boolean(),
  dscpSeen: Type.Boolean(),
  /** The packet's destination and interface are checked, so that no other socket's group is taken for ours. */
  destinationSeen: Type.Boolean(),
  ssm: Type.Boolean(),
  ipv6: Type.Boolean(),
  /** May open packet sockets: sees frames that it did not join, queries and reports. */
  watcher: Type.Boolean(),
  interface: AgentInterfaceSchema,
  /** Receive buffer that a listening socket really gets, as the kernel counts it; null where it cannot be read. */
  receiveBufferBytes: Nullable(Count),
  guards: GuardsSchema,
});
export type AgentCapabilities = DeepReadonly<Static<typeof AgentCapabilitiesSchema>>;

/** One stay in a group. */
export const MembershipSchema = Type.Object({
  /** Just before the join was asked of the kernel, which sends the report at once. */
  joinRequestedNs: Ns,
  /** Null while none has arrived. */
  firstPacketNs: Nullable(Ns),
  lastPacketNs: Nullable(Ns),
  /** Just before the leave was asked; null while still a member. */
  leaveRequestedNs: Nullable(Ns),
});
export type Membership = DeepReadonly<Static<typeof MembershipSchema>>;

/** Traffic at our group and port that is not this stream's. Never measured, never loss. */
export const ForeignCountSchema = Type.Object({
  /** Not a test packet at all. */
  foreignPackets: Count,
  /** Claims to be ours but is cut or damaged. */
  malformedPackets: Count,
  /** A test packet of another run. */
  otherRunPackets: Count,
  /** A test packet of this run with a stream id that was not expected on this group. */
  otherStreamPackets: Count,
  /** Came in by another interface, or for another group. */
  misdirectedPackets: Count,
  /** The first few sources of any of these. */
  sources: Type.Array(Address, { maxItems: 8 }),
});
export type ForeignCount = Static<typeof ForeignCountSchema>;

/**
 * In an interval report: one entry for each stay in the group that touches the interval, oldest first, so that merging
 * the entries of one `joinRequestedNs` gives that stay's whole receipt; one entry without a receipt where none does. In
 * the totals: one entry for each stream, over all its stays.
 */
export const ListenerIntervalSchema = Type.Object({
  streamId: Count,
  /** Null where this host was no member. */
  receipt: Nullable(StreamReceiptSchema),
  memberships: Type.Array(MembershipSchema, { maxItems: 65_536 }),
  /** Packets of this socket that the host dropped for want of buffer or by checksum; null where it cannot be known. */
  hostLostPackets: Nullable(Count),
  /** Streams that share the socket and therefore `hostLostPackets` and `foreign`; 1 is alone. */
  socketStreams: Type.Integer({ minimum: 1, maximum: 65_536 }),
  foreign: ForeignCountSchema,
  /**
   * Of a stream of others in an interval. Its `receipt` then counts what came, whatever it was, by its order of arrival: what is
   * lost only the controller can tell. Since protocol 10.
   */
  followed: Type.Optional(FollowedSchema),
  /**
   * Of a stream of others that this host's agent did not join: it was followed at the network card. A stay begins and ends with the
   * host's own membership then, and nothing was asked of the network.
   */
  watched: Type.Optional(
    Type.Object({
      /** Some other program on this host has joined the group. False: what came is a bystander's. */
      isMember: Type.Boolean(),
      /** Frames to the group and port that could not be read, as they came in fragments. */
      unreadFrames: Count,
    }),
  ),
});
export type ListenerInterval = DeepReadonly<Static<typeof ListenerIntervalSchema>>;

export const PacingSchema = Type.Object({
  p50Ns: Ns,
  p99Ns: Ns,
  p999Ns: Ns,
  maxNs: Ns,
});
export type Pacing = Static<typeof PacingSchema>;

export const SenderIntervalSchema = Type.Object({
  streamId: Count,
  senderId: Count,
  /** Taken by the kernel. A number is used only by a packet that was taken, so listeners never count the others lost. */
  sentPackets: Count,
  sentBytes: Count,
  firstSeq: Nullable(Count),
  lastSeq: Nullable(Count),
  sendErrors: Type.Object({ enobufs: Count, eagain: Count, other: Count }),
  /** The last error other than those two, as `ENETUNREACH`. */
  lastError: Nullable(words(32)),
  /** Due but not sent: the source came too late for them or the kernel refused them twice. */
  skippedPackets: Count,
  /** How late packets left after their due time; null when none was sent. */
  pacing: Nullable(PacingSchema),
  /** The source did not run: from the first due time missed until it went on. The longest ones. */
  stalls: Type.Array(Type.Object({ atNs: Ns, durationNs: Ns }), {
    maxItems: 32,
  }),
});
export type SenderInterval = DeepReadonly<Static<typeof SenderIntervalSchema>>;

/** Increases within the interval of counters that the whole host shares: evidence, not attribution. */
export const HostIntervalSchema = Type.Object({
  udpRcvbufErrors: Nullable(Count),
  udpInErrors: Nullable(Count),
  udp6RcvbufErrors: Nullable(Count),
  udp6InErrors: Nullable(Count),
  interfaceRxDropped: Nullable(Count),
  interfaceRxErrors: Nullable(Count),
  interfaceTxDropped: Nullable(Count),
  interfaceTxErrors: Nullable(Count),
  softnetDropped: Nullable(Count),
  /** The interface lost its carrier or went down at some time in the interval. */
  linkChanges: Nullable(Count),
  /** Steps of the wall clock against the monotonic one of more than a millisecond. */
  wallClockSteps: Nullable(Count),
});
export type HostInterval = Static<typeof HostIntervalSchema>;

/** Why the sources of this agent no longer send. */
export const SourceStopSchema = Type.Union([
  Type.Literal("as-planned"),
  Type.Literal("deadline"),
  Type.Literal("hold-time"),
  Type.Literal("aborted"),
  Type.Literal("guard"),
]);
export type SourceStop = Static<typeof SourceStopSchema>;

export const IntervalReportSchema = Type.Object({
  fromNs: Ns,
  toNs: Ns,
  listeners: Type.Array(ListenerIntervalSchema, { maxItems: 65_536 }),
  senders: Type.Array(SenderIntervalSchema, { maxItems: 8192 }),
  host: HostIntervalSchema,
  /** Of a Wi-Fi host whose kernel tells: where it is on the air, whenever that changed. */
  wifi: Type.Optional(Type.Array(WifiSightSchema, { maxItems: MOST_WIFI_SIGHTS })),
  /** Null while sources send or have yet to begin, and where none was planned. */
  sourcesStopped: Nullable(
    Type.Object({
      why: SourceStopSchema,
      atNs: Ns,
      detail: words(500),
    }),
  ),
  /** The whole run; only in the last report. */
  totals: Nullable(
    Type.Object({
      listeners: Type.Array(ListenerIntervalSchema, { maxItems: 65_536 }),
      senders: Type.Array(SenderIntervalSchema, { maxItems: 8192 }),
      /** Streams whose group this host is a member of without our doing; absent where the kernel does not tell. */
      groupsInUse: Type.Optional(Type.Array(Count, { maxItems: 4096 })),
      /**
       * The version that this host's own settings press it into (Linux: force_igmp_version, force_mld_version); 0: none does.
       * Absent where that can't be read.
       */
      forcedVersions: Type.Optional(
        Type.Object({ igmp: Type.Integer({ minimum: 0, maximum: 3 }), mld: Type.Integer({ minimum: 0, maximum: 2 }) }),
      ),
      /** Joined streams that came to the network card, but not one packet to the socket; why, where it can be read. */
      hostBlocks: Type.Optional(
        Type.Array(Type.Object({ streamId: Count, why: Nullable(words(2000)) }), {
          maxItems: 4096,
        }),
      ),
    }),
  ),
});
export type IntervalReport = DeepReadonly<Static<typeof IntervalReportSchema>>;
