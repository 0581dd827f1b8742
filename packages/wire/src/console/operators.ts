import Type, { type Static } from "@dyetrace/schema";
import type { DeepReadonly } from "../deep-readonly.ts";
import { RoleSchema } from "./console-session.ts";

/** Shorter ones are guessed (common practice, no source). */
export const LEAST_PASSWORD_LETTERS = 10;

/** Entry of `GET /api/operators`: whoever may sign in. */
export const OperatorEntrySchema = Type.Object({
  name: Type.String(),
  role: RoleSchema,
  /** ISO 8601. */
  since: Type.String(),
});
export type OperatorEntry = DeepReadonly<Static<typeof OperatorEntrySchema>>;

/** Body of `POST /api/operators`. */
export const OperatorOrderSchema = Type.Object(
  {
    name: Type.String({ pattern: "^[A-Za-z0-9][A-Za-z0-9._@-]{0,62}$" }),
    role: RoleSchema,
    password: Type.String({ minLength: LEAST_PASSWORD_LETTERS, maxLength: 1024 }),
  },
  { additionalProperties: false },
);
export type OperatorOrder = DeepReadonly<Static<typeof OperatorOrderSchema>>;
