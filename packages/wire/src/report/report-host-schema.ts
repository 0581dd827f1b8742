import Type, { type Static } from "@dyetrace/schema";
import type { DeepReadonly } from "../deep-readonly.ts";

/** What a report says of the hosts themselves. Unknown is null, never 0. */
const Nullable = <T extends Type.TSchema>(schema: T) => Type.Union([schema, Type.Null()]);
const Count = Type.Integer({ minimum: 0 });

/**
 * What one agent's host dropped or met with during the run, whoever's traffic it was: a hint that a loss may be the host's.
 * Null is not known.
 */
export const ReportHostSchema = Type.Object({
  agent: Type.String(),
  /** Packets that this agent's own sockets dropped for want of buffer or by checksum. */
  ownSocketsDropped: Nullable(Count),
  /** UDP of all programs: dropped for want of buffer, and received with any error, those included. */
  udpBufferDropped: Nullable(Count),
  udpReceiveErrors: Nullable(Count),
  /** The same of IPv6, which a host need not have. */
  udp6BufferDropped: Nullable(Count),
  udp6ReceiveErrors: Nullable(Count),
  /** The agent's network card. */
  cardReceiveDropped: Nullable(Count),
  cardReceiveErrors: Nullable(Count),
  cardSendDropped: Nullable(Count),
  cardSendErrors: Nullable(Count),
  /** Dropped by the kernel before any socket saw it, because a processor's queue was full. */
  backlogDropped: Nullable(Count),
  linkChanges: Nullable(Count),
  clockSteps: Nullable(Count),
  /** Packets for another group, or by another interface, that reached the agent's sockets. */
  misdirected: Nullable(Count),
});
export type ReportHost = DeepReadonly<Static<typeof ReportHostSchema>>;
