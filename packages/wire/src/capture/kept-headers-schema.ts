import Type, { type Static } from "@dyetrace/schema";
import { Count, DurationNs } from "../bounds.ts";
import type { DeepReadonly } from "../deep-readonly.ts";
import { Nullable } from "../nullable.ts";

/** What one agent hands over at most, in octets, and what all of a run do together. */
export const MOST_HEADER_BYTES = 2 * 1024 * 1024;
export const MOST_RUN_HEADER_BYTES = 8 * 1024 * 1024;
/** Room that an agent has for the headers of one run, in octets. */
export const HEADER_ROOM_BYTES = 4 * 1024 * 1024;

/** Records of `header-records`, as base64 (RFC 4648 section 4). */
export const HeaderRecordsSchema = Type.String({
  maxLength: Math.ceil(MOST_HEADER_BYTES / 3) * 4,
  pattern: "^[A-Za-z0-9+/]*={0,2}$",
});

/** What an agent answers when its headers are asked for. */
export const HandedHeadersSchema = Type.Object({
  /** Data and membership messages, each in the order of time. */
  data: HeaderRecordsSchema,
  membership: HeaderRecordsSchema,
  /** Frames whose place later ones took, that found no room in the answer, or that the host lost. */
  overwritten: Count,
  leftOut: Count,
  dropped: Count,
});
export type HandedHeaders = DeepReadonly<Static<typeof HandedHeadersSchema>>;

const KeptAgentSchema = Type.Object({
  agent: Type.String(),
  interfaceName: Type.String(),
  /** How well its clock was known to the controller, ns; null: not at all. */
  uncertaintyNs: Nullable(DurationNs),
  /** Null: it handed nothing over, and `why` says why. */
  headers: Nullable(HandedHeadersSchema),
  why: Nullable(Type.String()),
});

/** Headers that the agents of one run kept and handed over. */
export const KeptHeadersSchema = Type.Object({
  formatVersion: Type.Literal(1),
  run: Type.String(),
  /** The run's start instant: records count from it. */
  startedAt: Type.String(),
  agents: Type.Array(KeptAgentSchema),
});
export type KeptHeaders = DeepReadonly<Static<typeof KeptHeadersSchema>>;
