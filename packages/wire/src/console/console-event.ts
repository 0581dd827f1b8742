import Type, { type Static } from "@dyetrace/schema";
import type { DeepReadonly } from "../deep-readonly.ts";
import { Nullable } from "../nullable.ts";
import { ConsoleAgentSchema } from "./console-agent.ts";
import { ConsoleRunSchema } from "./console-run.ts";
import { LiveCellSchema, LiveHeardSchema, LiveStripSchema } from "./live-second.ts";
import { ConsolePlanSchema } from "./plan-drawing.ts";

/** Everything that is so at the moment: a console that comes back after a break throws away what it had. */
export const ConsoleHelloSchema = Type.Object({
  kind: Type.Literal("hello"),
  /** Drawn at the controller's start: another one means that the runs in its memory are gone. */
  instance: Type.String(),
  version: Type.String(),
  /** Nobody can be disturbed: a practice site. */
  isPractice: Type.Boolean(),
  /** Runs begin with a look and a ramp. */
  isLive: Type.Boolean(),
  plan: Nullable(ConsolePlanSchema),
  agents: Type.Array(ConsoleAgentSchema),
  /** The run that is going on, or the last one. */
  run: Nullable(ConsoleRunSchema),
  strips: Type.Array(LiveStripSchema),
  heard: Type.Array(LiveHeardSchema),
});
export type ConsoleHello = DeepReadonly<Static<typeof ConsoleHelloSchema>>;

/** `GET /api/console/events`: one event a line, the first is `hello`, then at least one a second. */
export const ConsoleEventSchema = Type.Union([
  ConsoleHelloSchema,
  Type.Object({ kind: Type.Literal("beat") }),
  Type.Object({ kind: Type.Literal("agents"), agents: Type.Array(ConsoleAgentSchema) }),
  Type.Object({ kind: Type.Literal("plan"), plan: Nullable(ConsolePlanSchema) }),
  /** A run began or took a step; everything but what its listeners measure. */
  Type.Object({ kind: Type.Literal("run"), run: ConsoleRunSchema }),
  Type.Object({ kind: Type.Literal("live"), runId: Type.String(), cells: Type.Array(LiveCellSchema) }),
  Type.Object({ kind: Type.Literal("heard"), runId: Type.String(), heard: Type.Array(LiveHeardSchema) }),
]);
export type ConsoleEvent = DeepReadonly<Static<typeof ConsoleEventSchema>>;
