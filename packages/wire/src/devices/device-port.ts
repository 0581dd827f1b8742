import Type, { type Static } from "@dyetrace/schema";
import { Count, words } from "../bounds.ts";
import type { DeepReadonly } from "../deep-readonly.ts";
import { Nullable } from "../nullable.ts";
import { DevicePortName, Mac } from "./device-names.ts";

/**
 * What passed one port since its counters began, in frames or octets, from the IF-MIB's ifTable and ifXTable (RFC 2863). They only
 * grow, and begin again when the device restarts: two readings are compared, never one taken by itself. "In" is from the wire to
 * the device, "out" from the device to the wire. Null: the device has no such counter, or it did not answer.
 */
export const DeviceCountersSchema = Type.Object({
  /** ifHCInOctets and ifHCOutOctets; the 32-bit ones where a device has no others. */
  inOctets: Nullable(Count),
  outOctets: Nullable(Count),
  /** ifHCInUcastPkts and ifHCOutUcastPkts. */
  inUnicast: Nullable(Count),
  outUnicast: Nullable(Count),
  /** ifHCInMulticastPkts and ifHCOutMulticastPkts: frames to group addresses, broadcasts not among them. */
  inMulticast: Nullable(Count),
  outMulticast: Nullable(Count),
  /** ifHCInBroadcastPkts and ifHCOutBroadcastPkts. */
  inBroadcast: Nullable(Count),
  outBroadcast: Nullable(Count),
  /** ifInErrors, ifOutErrors: frames with a fault in them, such as a wrong checksum. */
  inErrors: Nullable(Count),
  outErrors: Nullable(Count),
  /** ifInDiscards, ifOutDiscards: frames without a fault that the device dropped, such as for want of room. */
  inDiscards: Nullable(Count),
  outDiscards: Nullable(Count),
  /** 64 where the multicast counters cannot have turned over between two readings, 32 where they can; null: there are none. */
  multicastBits: Nullable(Type.Union([Type.Literal(32), Type.Literal(64)])),
});
export type DeviceCounters = DeepReadonly<Static<typeof DeviceCountersSchema>>;

/** dot1dStpPortState (RFC 4188): only `forwarding` passes frames of users. */
export const SpanningTreeStateSchema = Type.Union([
  Type.Literal("disabled"),
  Type.Literal("blocking"),
  Type.Literal("listening"),
  Type.Literal("learning"),
  Type.Literal("forwarding"),
  Type.Literal("broken"),
]);

/** One interface of the device, as it names it. */
export const DevicePortSchema = Type.Object({
  /** ifName, or ifDescr where there is none. Other tables of the same reading name the port by it. */
  name: DevicePortName,
  /** ifIndex (RFC 2863): the device's own number for it, which may change when it restarts. */
  index: Type.Integer({ minimum: 1, maximum: 0x7fffffff }),
  /** dot1dBasePort (RFC 4188): its number as a port of the bridge; null: it is none, or that is not known. */
  number: Nullable(Type.Integer({ minimum: 1, maximum: 65_535 })),
  /** lldpLocPortId: what it announces as the port's name, which its neighbour sees; null: nothing, or that is not known. */
  announcedAs: Nullable(words(255)),
  /** ifAlias: what the staff wrote on it. */
  alias: Nullable(words(255)),
  /** ifPhysAddress. */
  mac: Nullable(Mac),
  /** ifType (IANAifType-MIB): 6 is Ethernet, 209 a bridge, 24 the loopback. */
  type: Nullable(Type.Integer({ minimum: 0, maximum: 0x7fffffff })),
  /** ifHighSpeed, bits/s; null where the device gives 0 or nothing. */
  speedBps: Nullable(Type.Number({ minimum: 0, maximum: 1e15 })),
  /** ifOperStatus; null where it is neither up nor down. */
  up: Nullable(Type.Boolean()),
  /** ifAdminStatus: false where somebody switched it off. */
  enabled: Nullable(Type.Boolean()),
  /** dot3StatsDuplexStatus (EtherLike-MIB, RFC 3635). */
  duplex: Nullable(Type.Union([Type.Literal("half"), Type.Literal("full")])),
  spanningTree: Nullable(SpanningTreeStateSchema),
  /** dot1qPvid (RFC 4363): the VLAN of frames that come in untagged. */
  untaggedVlan: Nullable(Type.Integer({ minimum: 1, maximum: 4094 })),
  counters: DeviceCountersSchema,
  /** When its counters were asked for and answered, ms after the reading's `readAt`. */
  countersFromMs: Type.Number({ minimum: 0, maximum: 1e9 }),
  countersToMs: Type.Number({ minimum: 0, maximum: 1e9 }),
});
export type DevicePort = DeepReadonly<Static<typeof DevicePortSchema>>;
