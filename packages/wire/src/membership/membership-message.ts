import Type, { type Static } from "@dyetrace/schema";
import { Ns, words } from "../bounds.ts";
import type { DeepReadonly } from "../deep-readonly.ts";

/**
 * What a host heard (or itself put) on the wire about multicast membership: IGMPv1 (RFC 1112), IGMPv2 (RFC 2236),
 * IGMPv3 (RFC 3376), MLDv1 (RFC 2710), MLDv2 (RFC 3810), PIM hello (RFC 7761). Addresses are text, so every message
 * travels as JSON. What the message does not say is null.
 */
const Address = words(45);
const Mac = Type.String({ pattern: "^[0-9a-f]{2}(:[0-9a-f]{2}){5}$" });
const Nullable = <T extends Type.TSchema>(schema: T) => Type.Union([schema, Type.Null()]);
const DurationMs = Type.Number({ minimum: 0, maximum: 1e12 });
/** More than the largest Ethernet frame holds of addresses or records (9000 bytes, 4 each). */
const MOST_LISTED = 4096;

/** What every message carries around its own content. */
const ENVELOPE_FIELDS = {
  family: Type.Union([Type.Literal(4), Type.Literal(6)]),
  sourceMac: Mac,
  destinationMac: Mac,
  /** VLAN id of the tag on the frame; null on an untagged or priority-tagged frame. */
  vlanId: Nullable(Type.Integer({ minimum: 1, maximum: 4095 })),
  source: Address,
  destination: Address,
  /** TTL or hop limit; 1 in every valid IGMP, MLD and PIM message. */
  ttlHops: Type.Integer({ minimum: 0, maximum: 255 }),
  /** IPv4 option of RFC 2113, or hop-by-hop option of RFC 2711. */
  hasRouterAlert: Type.Boolean(),
};

/** `good` or `bad` as computed over the whole message. Hosts and switches ignore a message whose checksum is bad. */
const Checksum = Type.Union([Type.Literal("good"), Type.Literal("bad")]);
const Protocol = Type.Union([Type.Literal("igmp"), Type.Literal("mld")]);
const Version = Type.Union([Type.Literal(1), Type.Literal(2), Type.Literal(3)]);

const QuerySchema = Type.Object({
  ...ENVELOPE_FIELDS,
  kind: Type.Literal("query"),
  protocol: Protocol,
  /** By the length of the IP payload (RFC 3376 7.1, RFC 3810 8.1), never by the frame's. */
  version: Version,
  checksum: Checksum,
  /** Null in a general query. */
  group: Nullable(Address),
  sources: Type.Array(Address, { maxItems: MOST_LISTED }),
  /** Decoded from the Max Resp Code; 10 s for IGMPv1, which has no such field. */
  maxResponseMs: DurationMs,
  /** S flag; null before IGMPv3 and MLDv2. */
  suppressesRouters: Nullable(Type.Boolean()),
  /** QRV, 1 to 7; null when the version has none or the querier's own value is past 7 (sent as 0). */
  robustness: Nullable(Type.Integer({ minimum: 1, maximum: 7 })),
  /** Decoded from QQIC; null when the version has none or the field is 0 (RFC 3376 4.1.7: not stated). */
  queryIntervalMs: Nullable(DurationMs),
  /** E bit of RFC 9279: extension TLVs follow. */
  hasExtension: Type.Boolean(),
});

export const GroupRecordTypeSchema = Type.Union([
  Type.Literal("IS_IN"),
  Type.Literal("IS_EX"),
  Type.Literal("TO_IN"),
  Type.Literal("TO_EX"),
  Type.Literal("ALLOW"),
  Type.Literal("BLOCK"),
  Type.Literal("unknown"),
]);
export type GroupRecordType = Static<typeof GroupRecordTypeSchema>;

const GroupRecordSchema = Type.Object({
  /** Names of RFC 3376 4.2.12; `unknown` is to be ignored. */
  type: GroupRecordTypeSchema,
  group: Address,
  sources: Type.Array(Address, { maxItems: MOST_LISTED }),
});

const ReportSchema = Type.Object({
  ...ENVELOPE_FIELDS,
  kind: Type.Literal("report"),
  protocol: Protocol,
  version: Version,
  checksum: Checksum,
  /** An IGMPv1, IGMPv2 or MLDv1 report stands as one IS_EX record without sources (RFC 3376 7.3.2, RFC 3810 8.3.2). */
  records: Type.Array(GroupRecordSchema, { maxItems: MOST_LISTED }),
  hasExtension: Type.Boolean(),
});

/** IGMPv2 leave or MLDv1 done. IGMPv3 and MLDv2 leave by a report. */
const LeaveSchema = Type.Object({
  ...ENVELOPE_FIELDS,
  kind: Type.Literal("leave"),
  protocol: Protocol,
  version: Version,
  checksum: Checksum,
  group: Address,
});

/** RFC 7761 4.9.2. An option that the hello does not carry is null. */
const PimHelloSchema = Type.Object({
  ...ENVELOPE_FIELDS,
  kind: Type.Literal("pim-hello"),
  protocol: Type.Literal("pim"),
  checksum: Checksum,
  /** Option 1. `forever`: the neighbour never times out; 0: it says goodbye. Without the option 105 s hold (4.11). */
  holdtimeMs: Nullable(Type.Union([DurationMs, Type.Literal("forever")])),
  /** Option 2. */
  lanPruneDelay: Nullable(
    Type.Object({
      /** T bit. */
      canDisableJoinSuppression: Type.Boolean(),
      propagationMs: DurationMs,
      overrideMs: DurationMs,
    }),
  ),
  /** Option 19. */
  designatedRouterPriority: Nullable(Type.Integer({ minimum: 0, maximum: 0xffffffff })),
  /** Option 20: drawn anew at every start of the router's interface. */
  generationId: Nullable(Type.Integer({ minimum: 0, maximum: 0xffffffff })),
  /** Option 24. */
  secondaryAddresses: Type.Array(Address, { maxItems: MOST_LISTED }),
  otherOptions: Type.Array(Type.Integer({ minimum: 0, maximum: 65_535 }), { maxItems: MOST_LISTED }),
});

/** IGMP, MLD or a PIM hello that cannot be what it claims to be. Whoever hears it must ignore it. */
const MalformedSchema = Type.Object({
  ...ENVELOPE_FIELDS,
  kind: Type.Literal("malformed"),
  protocol: Type.Union([Protocol, Type.Literal("pim")]),
  fault: Type.Union([
    /** The IPv4 header's own checksum is wrong. */
    Type.Literal("header-checksum"),
    /** The frame, or our copy of it, holds fewer bytes than the IP header announces. */
    Type.Literal("cut"),
    /** A fragment: none of these messages may come in pieces that we would join. */
    Type.Literal("fragment"),
    /** The length is none that this type of message has (RFC 3376 7.1), or its counts point past its end. */
    Type.Literal("length"),
  ]),
});

export const MembershipMessageSchema = Type.Union([
  QuerySchema,
  ReportSchema,
  LeaveSchema,
  PimHelloSchema,
  MalformedSchema,
]);

const EnvelopeSchema = Type.Object(ENVELOPE_FIELDS);
export type MembershipEnvelope = DeepReadonly<Static<typeof EnvelopeSchema>>;
export type MembershipMessage = DeepReadonly<Static<typeof MembershipMessageSchema>>;
export type MembershipQuery = Extract<MembershipMessage, { readonly kind: "query" }>;
export type MembershipReport = Extract<MembershipMessage, { readonly kind: "report" }>;
export type MembershipLeave = Extract<MembershipMessage, { readonly kind: "leave" }>;
export type PimHello = Extract<MembershipMessage, { readonly kind: "pim-hello" }>;
export type MalformedMembership = Extract<MembershipMessage, { readonly kind: "malformed" }>;
export type GroupRecord = DeepReadonly<Static<typeof GroupRecordSchema>>;

/** One message as one host saw it. */
const EventSchema = Type.Object({
  /** Nanoseconds after the run's start instant; negative before it. From the kernel's timestamp of the frame. */
  atNs: Ns,
  /** `out`: this host sent it, as it left on the wire. */
  direction: Type.Union([Type.Literal("in"), Type.Literal("out")]),
  message: MembershipMessageSchema,
});
export type MembershipEvent = DeepReadonly<Static<typeof EventSchema>>;
/** Checks as its schema says and infers the readonly type. */
export const MembershipEventSchema = Type.Unsafe<MembershipEvent>(EventSchema);
