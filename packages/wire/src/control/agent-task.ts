import Type, { type Static } from "@dyetrace/schema";
import { DurationNs, words } from "../bounds.ts";
import type { DeepReadonly } from "../deep-readonly.ts";
import { FollowTaskSchema } from "./followed-schema.ts";

/**
 * What one agent does in one run. The controller compiles it from scenario, site and agents; the agent's data plane
 * carries it out. Times are nanoseconds after the run's start instant, which is agreed separately (message `go`).
 */
export const TaskStreamSchema = Type.Object({
  /** Unique within the run, 0 to 2^32 - 1: the number in the test packet. */
  streamId: Type.Integer({ minimum: 0, maximum: 0xffffffff }),
  name: words(64, 1),
  /** Group address, IPv4 or IPv6; of a companion the listener's. */
  group: words(45),
  port: Type.Integer({ minimum: 1, maximum: 65_535 }),
  /** Address of the source for a source-specific join (RFC 4607), null for an any-source join. */
  ssmSource: Type.Union([words(45), Type.Null()]),
  /** UDP payload bits per second. */
  rateBps: Type.Number({ exclusiveMinimum: 0, maximum: 1e15 }),
  payloadBytes: Type.Integer({ minimum: 96, maximum: 65_507 }),
  ttl: Type.Integer({ minimum: 1, maximum: 255 }),
  dscp: Type.Integer({ minimum: 0, maximum: 63 }),
  /** Packets sent back to back at one due time; 1 is steady. */
  burstPackets: Type.Integer({ minimum: 1, maximum: 1024 }),
  /**
   * Set on a unicast companion: the stream that it runs beside. Its `group` is then the listener's own address, and
   * nobody asks the network for it.
   */
  companionOf: Type.Optional(Type.Integer({ minimum: 0, maximum: 0xffffffff })),
  /**
   * Set on a stream of somebody else's that is only followed: no agent sends it, and a task with one sends nothing at all.
   * Since protocol 10.
   */
  production: Type.Optional(FollowTaskSchema),
});
export type TaskStream = Static<typeof TaskStreamSchema>;

/** `emit` and `stop` are the source's, `join` and `leave` a listener's; `set` changes a running stream's rate or size. */
export const TaskActionSchema = Type.Object({
  atNs: DurationNs,
  kind: Type.Union([
    Type.Literal("emit"),
    Type.Literal("stop"),
    Type.Literal("join"),
    Type.Literal("leave"),
    Type.Literal("set"),
  ]),
  streamId: Type.Integer({ minimum: 0, maximum: 0xffffffff }),
  /** Only for `set`. */
  rateBps: Type.Optional(Type.Number({ exclusiveMinimum: 0, maximum: 1e15 })),
  payloadBytes: Type.Optional(Type.Integer({ minimum: 96, maximum: 65_507 })),
});
export type TaskAction = Static<typeof TaskActionSchema>;

export const AgentTaskSchema = Type.Object({
  /** 16 hexadecimal digits. */
  runId: Type.String({ pattern: "^[0-9a-f]{16}$" }),
  /** Every stream that this agent sends, joins or watches for. */
  streams: Type.Array(TaskStreamSchema, { maxItems: 4096 }),
  /** Ascending in time. */
  actions: Type.Array(TaskActionSchema, { maxItems: 65_536 }),
  /** When the task is over and the final reports are due. No source sends past this instant. */
  endNs: DurationNs,
  /** Interval of the receipts, normally 1 s. */
  intervalNs: Type.Number({ minimum: 1e8, maximum: 3600e9 }),
  /** A look before a run: the watcher notes all that others send to the streams' groups and their kin, on whatever port. */
  looksForUse: Type.Optional(Type.Boolean()),
  /** Keep the latest headers of the streams' groups, in so much room, in octets; without it none are kept. Since protocol 9. */
  keepsHeaders: Type.Optional(Type.Integer({ minimum: 65_536, maximum: 64 * 1024 * 1024 })),
  /** How long a source goes on without a word from its controller. */
  holdNs: Type.Number({ minimum: 1e9, maximum: 1e18 }),
});
export type AgentTask = DeepReadonly<Static<typeof AgentTaskSchema>>;
