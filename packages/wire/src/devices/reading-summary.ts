import Type, { type Static } from "@dyetrace/schema";
import { words } from "../bounds.ts";
import type { DeepReadonly } from "../deep-readonly.ts";
import { Nullable } from "../nullable.ts";

const Rows = Nullable(Type.Integer({ minimum: 0 }));

/** The last reading of a device since this controller began, in a few figures; null is unknown. */
export const ReadingSummarySchema = Type.Object({
  node: words(80, 1),
  /** ISO 8601, UTC. */
  readAt: words(40),
  by: Type.Union([Type.Literal("snmp-v3"), Type.Literal("snmp-v2c"), Type.Literal("pasted")]),
  /** Network ports: loopbacks and bridges of its own are not among them. */
  ports: Rows,
  /** Of those that are switched on, without a link. */
  down: Rows,
  /** With errors that came in, or frames dropped going out, since the device's counters began. */
  faulty: Rows,
  /** Half duplex. */
  half: Rows,
  neighbours: Rows,
  groups: Rows,
  /** The first sentence on what could not be read; null: everything could. */
  unread: Nullable(words(400)),
});
export type ReadingSummary = DeepReadonly<Static<typeof ReadingSummarySchema>>;
