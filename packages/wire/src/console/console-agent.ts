import Type, { type Static } from "@dyetrace/schema";
import { ClockEstimateSchema } from "../control/clock-estimate-schema.ts";
import { AgentCapabilitiesSchema } from "../control/interval-report-schema.ts";
import type { DeepReadonly } from "../deep-readonly.ts";
import { Nullable } from "../nullable.ts";

const CONNECTED = {
  name: Type.String(),
  version: Type.String(),
  capabilities: AgentCapabilitiesSchema,
  /** What its rights on its host keep it from; null: it did not say. */
  lacks: Nullable(Type.Array(Type.String())),
  /** Whether its host lets a controller upgrade it. */
  allowsUpgrade: Type.Boolean(),
};

/** An entry of `GET /api/agents`. */
export const ConnectedAgentSchema = Type.Object({ ...CONNECTED, protocol: Type.Integer() });

/** An agent that is connected, as the console shows it. */
export const ConsoleAgentSchema = Type.Object({
  ...CONNECTED,
  /** How well its clock was known when it last prepared a run; null before that, or where it could not tell. */
  clock: Nullable(ClockEstimateSchema),
});
export type ConsoleAgent = DeepReadonly<Static<typeof ConsoleAgentSchema>>;

/** `GET /api/console/new-agent`: how to bring one more agent in. */
export const NewAgentHelpSchema = Type.Object({
  controllerUrl: Type.String(),
  /** Null where the asker is not on the controller's own machine: the key stays there. */
  key: Nullable(Type.String()),
});
export type NewAgentHelp = DeepReadonly<Static<typeof NewAgentHelpSchema>>;

/** Answer of `POST /api/enrolled`: a key that enrols one agent, or many, and the line with it. */
export const EnrolAnswerSchema = Type.Object({
  key: Type.String(),
  /** ISO 8601. */
  until: Type.String(),
  line: Type.String(),
});
export type EnrolAnswer = DeepReadonly<Static<typeof EnrolAnswerSchema>>;

/** An entry of `GET /api/enrolled`. */
export const EnrolledAgentSchema = Type.Object({
  name: Type.String(),
  since: Type.String(),
  /** The address that it enrolled from. */
  from: Type.String(),
  /** When its credential ends, ISO 8601; it is renewed before that while the agent is connected. Null: it has no end. */
  until: Nullable(Type.String()),
  /** True: it ended, and the agent has to be enrolled again. */
  hasEnded: Type.Boolean(),
  /** True: another one is on its way, because an operator ordered it or half of the time is over. */
  isRenewalDue: Type.Boolean(),
  /** Why the agent could not keep another one when it was last handed over; null: it could, or was not asked. */
  trouble: Nullable(Type.String()),
});
export type EnrolledAgent = DeepReadonly<Static<typeof EnrolledAgentSchema>>;

/** Answer of `POST /api/enrolled/rotate`: whose credentials are to be renewed, now or when they next connect. */
export const RotatedSchema = Type.Object({ agents: Type.Array(Type.String()) });
export type Rotated = DeepReadonly<Static<typeof RotatedSchema>>;

/** Answer of `POST /api/agents/:name/upgrade`: the version that it now is. */
export const UpgradeAnswerSchema = Type.Object({ version: Type.String(), message: Type.String() });
