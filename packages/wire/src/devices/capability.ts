import Type, { type Static } from "@dyetrace/schema";

/** The capabilities of IEEE 802.1AB, table 8-4. */
export const CapabilitySchema = Type.Union([
  Type.Literal("other"),
  Type.Literal("repeater"),
  Type.Literal("bridge"),
  Type.Literal("access-point"),
  Type.Literal("router"),
  Type.Literal("telephone"),
  Type.Literal("docsis"),
  Type.Literal("station"),
]);
export type Capability = Static<typeof CapabilitySchema>;
/** In the order of their bits. */
export const CAPABILITIES: readonly Capability[] = CapabilitySchema.anyOf.map((one) => one.const);
