import Type, { type Static } from "@dyetrace/schema";
import type { DeepReadonly } from "../deep-readonly.ts";

/** Who asks for memberships: every querier that was heard, and VLAN by VLAN what the plan says to that. Unknown is null. */
const Nullable = <T extends Type.TSchema>(schema: T) => Type.Union([schema, Type.Null()]);
const Count = Type.Integer({ minimum: 0 });
const Ms = Type.Number();
const Family = Type.Union([Type.Literal(4), Type.Literal(6)]);

export const ReportQuerierSchema = Type.Object({
  address: Type.String(),
  family: Family,
  version: Type.Integer(),
  heardBy: Type.Array(Type.String()),
  queries: Count,
  firstMs: Ms,
  lastMs: Ms,
  intervalSeenMs: Nullable(Type.Number()),
  intervalAdvertisedMs: Nullable(Type.Number()),
  isElected: Type.Boolean(),
});
export type ReportQuerier = DeepReadonly<Static<typeof ReportQuerierSchema>>;

/** What the words of a state mean stands in `querierStateWords`. */
export const QuerierStateSchema = Type.Union([
  Type.Literal("as-planned"),
  Type.Literal("one"),
  Type.Literal("another"),
  Type.Literal("several"),
  Type.Literal("unaddressed"),
  Type.Literal("none"),
  Type.Literal("unknown"),
]);
export type ReportQuerierState = Static<typeof QuerierStateSchema>;

const AuditedQuerierSchema = Type.Object({
  address: Type.String(),
  mac: Nullable(Type.String()),
  version: Type.Integer(),
  intervalMs: Nullable(Type.Number()),
  maxResponseMs: Nullable(Type.Number()),
  robustness: Nullable(Type.Integer()),
  /** How long a membership lasts by these figures, the standard's where one is not told (RFC 3376, section 8.4; RFC 3810, section 9.4). */
  membershipMs: Type.Number(),
  queries: Count,
  firstMs: Ms,
  lastMs: Ms,
  /** From its last query to the end of the watch. */
  silentMs: Type.Number(),
  heardBy: Type.Array(Type.String()),
  /** Hosts of the VLAN that watched, and to which none of its queries came. */
  unheardBy: Type.Array(Type.String()),
  /** The host that they went out of; null where none with an agent is it. */
  sender: Nullable(Type.String()),
  /** Null where the plan does not tell. */
  isPlanned: Nullable(Type.Boolean()),
});

export const ReportQuerierAuditSchema = Type.Object({
  /** Null in a plan without VLANs. */
  vlan: Nullable(Type.Integer()),
  family: Family,
  state: QuerierStateSchema,
  planned: Nullable(Type.Object({ node: Type.String(), address: Nullable(Type.String()) })),
  heard: Type.Array(AuditedQuerierSchema),
  /** Changes of the querier, in order of time. */
  elections: Type.Array(
    Type.Object({
      atMs: Ms,
      from: Type.String(),
      to: Type.String(),
      /** `won`: the lower address silenced the other; `stood-in`: the other had fallen silent. */
      how: Type.Union([Type.Literal("won"), Type.Literal("stood-in")]),
      silenceMs: Type.Number(),
      heardBy: Type.Array(Type.String()),
    }),
  ),
});
export type ReportQuerierAudit = DeepReadonly<Static<typeof ReportQuerierAuditSchema>>;
