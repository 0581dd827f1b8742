import Type, { type Static } from "@dyetrace/schema";
import type { DeepReadonly } from "../deep-readonly.ts";
import { Nullable } from "../nullable.ts";

/** Whoever may view sees everything; whoever may operate also starts, stops, enrols and revokes. */
export const RoleSchema = Type.Union([Type.Literal("view"), Type.Literal("operate")]);
export type Role = Static<typeof RoleSchema>;

const OperatorSchema = Type.Object({ name: Type.String(), role: RoleSchema });

/** `GET /api/session`. */
export const ConsoleSessionSchema = Type.Object({
  /** Nobody signs in: this controller answers on its own machine alone. */
  isOpen: Type.Boolean(),
  operator: Nullable(OperatorSchema),
  /** Goes with every change; null where nobody has signed in. */
  formToken: Nullable(Type.String()),
  /** False: nobody can sign in yet. */
  hasOperators: Type.Boolean(),
});
export type ConsoleSession = DeepReadonly<Static<typeof ConsoleSessionSchema>>;

/** Answer of `POST /api/sign-in`. */
export const SignedInSchema = Type.Object({
  operator: OperatorSchema,
  formToken: Type.String(),
  /** For commands, which send it as a bearer token; a page has it in its cookie. */
  token: Type.String(),
});
export type SignedIn = DeepReadonly<Static<typeof SignedInSchema>>;

/** An entry of `GET /api/audit`, newest first: something that somebody did, or was kept from doing. */
export const AuditEntrySchema = Type.Object({
  /** ISO 8601. */
  at: Type.String(),
  /** An operator's name; `agent NAME`; or `this machine` where nobody signs in. */
  who: Type.String(),
  from: Type.String(),
  what: Type.String(),
});
export type AuditEntry = DeepReadonly<Static<typeof AuditEntrySchema>>;

/** Answer of `GET /api/audit/check`. */
export const AuditCheckSchema = Type.Object({
  entries: Type.Integer(),
  /** Lines before the first hash: entries of an earlier version. */
  before: Type.Integer(),
  /** Null: there is no entry with a hash. */
  firstNumber: Nullable(Type.Integer()),
  /** The latest entry's number and SHA-256, hexadecimal. */
  last: Nullable(Type.Object({ number: Type.Integer(), hash: Type.String() })),
  /** A sentence for each place where an entry was changed, taken out or put in; empty: none. */
  breaks: Type.Array(Type.String()),
});
