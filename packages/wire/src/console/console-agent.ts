import Type, { type Static } from "@dyetrace/schema";
import { ClockEstimateSchema } from "../control/control-messages.ts";
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

/** Answer of `POST /api/enrolled`: a key that enrols one agent, and the line with it. */
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
});
export type EnrolledAgent = DeepReadonly<Static<typeof EnrolledAgentSchema>>;

/** Answer of `POST /api/agents/:name/upgrade`: the version that it now is. */
export const UpgradeAnswerSchema = Type.Object({ version: Type.String(), message: Type.String() });
