import Type, { type Static } from "@dyetrace/schema";
import { words } from "../bounds.ts";
import type { DeepReadonly } from "../deep-readonly.ts";
import { CapabilitySchema } from "../devices/capability.ts";
import { DeviceVlan, Mac } from "../devices/device-names.ts";
import { Nullable } from "../nullable.ts";

/** What a host keeps of its neighbours at most: behind a switch that hands announcements on there may be several. */
export const MOST_ANNOUNCEMENTS = 32;
export const MOST_GATEWAYS = 32;
export const MOST_ANNOUNCED_VLANS = 64;
export const MOST_ANNOUNCED_ADDRESSES = 16;

const Address = words(45, 1);

/** What one neighbour announced of itself on this link (LLDP, IEEE 802.1AB). Texts as it sent them, cut at 255 characters. */
export const AnnouncementSchema = Type.Object({
  /** Ethernet source of the frame. */
  source: Mac,
  /** An Ethernet address as `02:00:5e:10:00:01`, an IP address as such, other kinds as text. */
  chassis: words(255, 1),
  /** Its own name for the port that it sent this from, in the same forms. */
  portId: words(255, 1),
  /** For how long it holds, s; 0: the neighbour takes its leave. */
  ttlS: Type.Integer({ minimum: 0, maximum: 65_535 }),
  portDescription: Nullable(words(255)),
  systemName: Nullable(words(255)),
  systemDescription: Nullable(words(255)),
  /** Those that it says are enabled; null: it said none. */
  capabilities: Nullable(Type.Array(CapabilitySchema, { maxItems: 8 })),
  /** IP addresses at which it is managed. */
  addresses: Type.Array(Address, { maxItems: MOST_ANNOUNCED_ADDRESSES }),
  /** The VLAN of frames without a tag (IEEE 802.1Q, annex D); null: it did not say, or that there is none. */
  untaggedVlan: Nullable(DeviceVlan),
  /** VLANs that it names. */
  vlans: Type.Array(Type.Object({ vlan: DeviceVlan, name: words(255) }), { maxItems: MOST_ANNOUNCED_VLANS }),
});
export type Announcement = DeepReadonly<Static<typeof AnnouncementSchema>>;

export const HeardAnnouncementSchema = Type.Object({
  announcement: AnnouncementSchema,
  /** How long ago it came last, ms. */
  agoMs: Type.Number({ minimum: 0, maximum: 1e12 }),
});

/** What a host knows of the network around its interface: heard and read, never asked. */
export const SurroundingsSchema = Type.Object({
  /** Null where this host cannot hear them; empty: nobody announced anything. */
  announcements: Nullable(Type.Array(HeardAnnouncementSchema, { maxItems: MOST_ANNOUNCEMENTS })),
  /** For how long it has listened for announcements, ms: silence says little before they are due. */
  heardForMs: Type.Number({ minimum: 0, maximum: 1e12 }),
  /** Its own, with the prefix length: `192.0.2.5/24`. */
  addresses: Type.Array(words(64, 1), { maxItems: 64 }),
  mac: Nullable(Mac),
  /** Routers that its table names for this interface, with their Ethernet address where its neighbour table has one. */
  gateways: Type.Array(Type.Object({ address: Address, mac: Nullable(Mac) }), { maxItems: MOST_GATEWAYS }),
});
export type Surroundings = DeepReadonly<Static<typeof SurroundingsSchema>>;

/** What a controller knows of its agents' surroundings. */
export const AgentSurroundingsSchema = Type.Object({
  agent: words(63, 1),
  /** How long ago the agent told it, ms. */
  toldAgoMs: Type.Number({ minimum: 0, maximum: 1e12 }),
  surroundings: SurroundingsSchema,
});
export type AgentSurroundings = DeepReadonly<Static<typeof AgentSurroundingsSchema>>;
