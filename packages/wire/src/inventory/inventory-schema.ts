import Type, { type Static } from "@dyetrace/schema";
import { Count } from "../bounds.ts";
import type { DeepReadonly } from "../deep-readonly.ts";
import { Nullable } from "../nullable.ts";

const Text = Type.String();
const Ms = Type.Number({ minimum: 0 });
const Ratio = Type.Number({ minimum: 0 });

/** As scenarios write it. */
export const StreamFormatSchema = Type.Union([Type.Literal("rtp"), Type.Literal("mpeg-ts"), Type.Literal("any")]);
export type StreamFormat = Static<typeof StreamFormatSchema>;

/** One sender to one group and port: its figures are those of the agent that got most of it. */
export const InventorySenderSchema = Type.Object({
  address: Text,
  /** The agent whose host it is; null: none of them. */
  agent: Nullable(Text),
  /** Its Ethernet address; null where no agent that saw it is known to be on its link. */
  hardware: Nullable(Text),
  /** UDP payload, bits/s, over the whole look; what the IP header carries where it is no UDP. */
  rateBps: Ratio,
  packetsPerSecond: Ratio,
  /** Payload of the smallest and the largest packet. */
  leastBytes: Count,
  mostBytes: Count,
  /** The greatest that any agent saw: nearest to what was sent. */
  ttl: Type.Integer({ minimum: 0, maximum: 255 }),
  /** At the agent with that TTL. */
  dscp: Type.Integer({ minimum: 0, maximum: 63 }),
  format: Nullable(StreamFormatSchema),
  /** The format in words, such as `MPEG-TS in RTP`; null where it is unknown. */
  carries: Nullable(Text),
  seenBy: Type.Array(Text),
});
export type InventorySender = DeepReadonly<Static<typeof InventorySenderSchema>>;

/** A host that was heard to ask for a group. */
export const InventoryAskerSchema = Type.Object({
  address: Text,
  agent: Nullable(Text),
  hardware: Text,
  /** How long before the end of the look it last said so. */
  agoMs: Ms,
});
export type InventoryAsker = DeepReadonly<Static<typeof InventoryAskerSchema>>;

/** One group and port; a group that is asked for and that nobody was seen to send to has no port. */
export const InventoryGroupSchema = Type.Object({
  group: Text,
  port: Nullable(Type.Integer({ minimum: 0, maximum: 65_535 })),
  /** Number of the IP protocol; null where nobody was seen to send. */
  protocol: Nullable(Type.Integer({ minimum: 0, maximum: 255 })),
  /**
   * `control`: what the network's own protocols and discovery use, which tests never touch; `data`: all others.
   */
  kind: Type.Union([Type.Literal("control"), Type.Literal("data")]),
  /** Empty: agents are members, and nobody sent. Null: unknown, because no agent is a member. */
  senders: Nullable(Type.Array(InventorySenderSchema)),
  format: Nullable(StreamFormatSchema),
  /** Agents whose host is a member. */
  members: Type.Array(Text),
  /** Hosts that were heard to ask for it; switches pass that on to routers and queriers alone, so others may have. */
  askedBy: Type.Array(InventoryAskerSchema),
  seenBy: Type.Array(Text),
  /** Agents that it reaches although nothing on their host is a member. */
  unaskedAt: Type.Array(Text),
  /** The Ethernet address of its frames, and other groups of this inventory that have the same. */
  linkAddress: Text,
  sharesLinkAddressWith: Type.Array(Text),
  /** What the registry or a standard says that it is for; null where neither says anything. */
  use: Nullable(Text),
  remarks: Type.Array(Text),
});
export type InventoryGroup = DeepReadonly<Static<typeof InventoryGroupSchema>>;

export const InventoryAgentSchema = Type.Object({
  agent: Text,
  /** How long it watched; null: it could not, and `why` says why. */
  lookedMs: Nullable(Ms),
  why: Nullable(Text),
});

/** Everything multicast that passed the agents' network cards in one look. */
export const InventorySchema = Type.Object({
  formatVersion: Type.Literal(1),
  id: Text,
  takenAt: Text,
  /** For people, such as `30 s`. */
  seenFor: Text,
  seenForMs: Ms,
  agents: Type.Array(InventoryAgentSchema),
  groups: Type.Array(InventoryGroupSchema),
  queriers: Type.Array(
    Type.Object({
      address: Text,
      agent: Nullable(Text),
      hardware: Text,
      protocol: Type.Union([Type.Literal("igmp"), Type.Literal("mld")]),
      version: Type.Union([Type.Literal(1), Type.Literal(2), Type.Literal(3)]),
      seenBy: Type.Array(Text),
    }),
  ),
  /** Groups that nothing here clashes with. */
  freeGroups: Type.Array(Text),
  /** What is not the whole, in sentences: tables that were full, frames that were lost. */
  summarised: Type.Array(Text),
  /** Where known uses are from, and as of when. */
  registry: Text,
});
export type Inventory = DeepReadonly<Static<typeof InventorySchema>>;

export const InventorySummarySchema = Type.Object({
  id: Text,
  takenAt: Text,
  seenForMs: Ms,
  /** `looking`: it is not over yet; `failed`: nothing is kept of it. */
  state: Type.Union([Type.Literal("looking"), Type.Literal("done"), Type.Literal("failed")]),
  /** How many agents saw something of it, and how many groups; null while it is looking. */
  agents: Nullable(Count),
  groups: Nullable(Count),
});
export type InventorySummary = DeepReadonly<Static<typeof InventorySummarySchema>>;

export const InventoryRequestSchema = Type.Object(
  { forMs: Type.Number({ minimum: 1000, maximum: 600_000 }) },
  { additionalProperties: false, description: "How long the agents look: 1 s to 10 min." },
);
export type InventoryRequest = Static<typeof InventoryRequestSchema>;

const PlaceSchema = { group: Text, port: Nullable(Type.Integer({ minimum: 0, maximum: 65_535 })) };
const ChangeSchema = Type.Object({ ...PlaceSchema, what: Type.Array(Text) });
export type InventoryChange = DeepReadonly<Static<typeof ChangeSchema>>;

/** What one inventory has and an earlier one had not, and the other way round. */
export const InventoryChangesSchema = Type.Object({
  id: Text,
  since: Text,
  sinceTakenAt: Text,
  appeared: Type.Array(ChangeSchema),
  gone: Type.Array(ChangeSchema),
  changed: Type.Array(ChangeSchema),
  /** Why the two may differ although the site does not. */
  doubts: Type.Array(Text),
});
export type InventoryChanges = DeepReadonly<Static<typeof InventoryChangesSchema>>;
