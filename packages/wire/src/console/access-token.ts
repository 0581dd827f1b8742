import Type, { type Static } from "@dyetrace/schema";
import type { DeepReadonly } from "../deep-readonly.ts";
import { Nullable } from "../nullable.ts";
import { RoleSchema } from "./console-session.ts";

/** A name of a token, for whoever reads the list and the log. */
const TokenName = Type.String({ pattern: "^[A-Za-z0-9][A-Za-z0-9._@-]{0,62}$" });

const TEN_YEARS_S = 10 * 365 * 24 * 3600;

/** Body of `POST /api/tokens`. */
export const TokenOrderSchema = Type.Object(
  {
    name: TokenName,
    /** What a program may do with it. No token may manage operators or tokens. */
    scope: RoleSchema,
    /** How long it lasts; null: until it is removed. */
    lastsS: Nullable(Type.Integer({ minimum: 60, maximum: TEN_YEARS_S })),
  },
  { additionalProperties: false },
);
export type TokenOrder = DeepReadonly<Static<typeof TokenOrderSchema>>;

/** Answer of `POST /api/tokens`. */
export const TokenMadeSchema = Type.Object({
  name: Type.String(),
  /** For `Authorization: Bearer`; nobody can read it again. */
  token: Type.String(),
  /** ISO 8601; null: it has no end. */
  until: Nullable(Type.String()),
});
export type TokenMade = DeepReadonly<Static<typeof TokenMadeSchema>>;

/** An entry of `GET /api/tokens`. */
export const AccessTokenSchema = Type.Object({
  name: Type.String(),
  /** What it opens now: no more than its maker may do. */
  scope: RoleSchema,
  since: Type.String(),
  until: Nullable(Type.String()),
  hasEnded: Type.Boolean(),
  /** Who made it. */
  by: Type.String(),
  /** The last request with it; null: none since it was made, or since this was last written down. */
  lastUse: Nullable(Type.Object({ at: Type.String(), from: Type.String() })),
});
export type AccessToken = DeepReadonly<Static<typeof AccessTokenSchema>>;
