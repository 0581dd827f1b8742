import Type, { type Static } from "@dyetrace/schema";
import { Count, Ns, words } from "../bounds.ts";
import type { DeepReadonly } from "../deep-readonly.ts";
import { MembershipEventSchema } from "../membership/membership-message.ts";
import { MOST_GROUP_USES } from "../most-group-uses.ts";

const Nullable = <T extends Type.TSchema>(schema: T) => Type.Union([schema, Type.Null()]);

/** Test frames of one stream that reached the network card in one interval, joined or not. */
export const WatchedStreamSchema = Type.Object({
  streamId: Type.Integer({ minimum: 0, maximum: 0xffffffff }),
  frames: Count,
  /** First and last frame, ns after the run's start instant; null when there was none. */
  firstNs: Nullable(Ns),
  lastNs: Nullable(Ns),
  /** Runs of sequence numbers seen in this interval, ascending, both ends included. */
  ranges: Type.Array(Type.Tuple([Count, Count]), { maxItems: 1024 }),
  /** Frames whose numbers found no room in `ranges`. Not 0: `ranges` is not the whole truth. */
  unlistedFrames: Count,
  /** Of `frames`, those in an Ethernet frame addressed to this host alone: somebody converts multicast to unicast. */
  asUnicastFrames: Count,
  /** Frames with a VLAN tag that this interface is no member of; not in `frames`. */
  taggedFrames: Count,
  /** Frames to the stream's group and port that are no test packets of this run; not in `frames`. */
  foreignFrames: Count,
});
export type WatchedStream = DeepReadonly<Static<typeof WatchedStreamSchema>>;

/** Frames that somebody else sends where a look before a run looks: to one of its groups, or to one that shares more with it. */
export const GroupUseSchema = Type.Object({
  /** As the frames have it: it may be another group than a stream's, see `groupKinship`. */
  group: words(45),
  /** UDP port; null where the frames are no UDP. */
  port: Nullable(Type.Integer({ minimum: 0, maximum: 65_535 })),
  source: words(45),
  frames: Count,
});
export type GroupUse = DeepReadonly<Static<typeof GroupUseSchema>>;

/** The watcher's part of an agent's interval report. An agent that can't watch reports null in its place. */
export const WatcherReportSchema = Type.Object({
  /**
   * Since when it has watched this interface without a break, ns after the run's start instant (mostly negative). Null
   * while the interface is down: it sees nothing now, and what it saw of the interval is not the whole.
   */
  sinceNs: Nullable(Ns),
  /** One entry for every watched stream. */
  streams: Type.Array(WatchedStreamSchema, { maxItems: 4096 }),
  /** In order of arrival. A run's first report also carries the last minutes before the run. */
  membership: Type.Array(MembershipEventSchema, { maxItems: 1024 }),
  /** Membership messages of this interval beyond what one report holds. */
  unlistedMembership: Count,
  /** Only of a look before a run; absent from an agent that can't look so far. Beyond the bound, more are in use. */
  groupUse: Type.Optional(Type.Array(GroupUseSchema, { maxItems: MOST_GROUP_USES })),
  /** Frames that the kernel could not hand over (PACKET_STATISTICS). Not 0: every count here is a lower bound. */
  dropped: Count,
});
export type WatcherReport = DeepReadonly<Static<typeof WatcherReportSchema>>;
