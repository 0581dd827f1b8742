import type { Role } from "@dyetrace/wire/console/console-session";

/** A name of an operator: shown in the audit log, typed at sign-in. */
export const OPERATOR_NAME = "^[A-Za-z0-9][A-Za-z0-9._@-]{0,62}$";
/** A name of an agent, as the site plan has it. */
export const AGENT_NAME = "^[A-Za-z0-9][A-Za-z0-9._-]{0,62}$";

export interface OperatorRecord {
  readonly name: string;
  readonly role: Role;
  /** As `hashPassword` made it. */
  readonly password: string;
  /** ISO 8601, like every instant here. Another password or role leaves it; who is removed and added again has another. */
  readonly since: string;
}

export interface CredentialRecord {
  /** 16 hexadecimal digits: the part of a credential that may be known. */
  readonly id: string;
  /** As `hashSecret` made it. */
  readonly secret: string;
  /** When it ends; absent: a version made it that set no end. */
  readonly until?: string;
}

/** An agent with the credential that it uses. */
export interface AgentRecord extends CredentialRecord {
  readonly name: string;
  readonly since: string;
  /** The address that it enrolled from. */
  readonly from: string;
  /** Was handed over, and nobody knows yet whether it was kept: until then both open. */
  readonly next?: CredentialRecord & { readonly until: string };
  /** The one before, which opens nothing any more: whoever shows it is told apart from who guesses. */
  readonly old?: CredentialRecord & { readonly at: string };
  /** An operator wants it to have another one. */
  readonly isRotationDue?: boolean;
}

export interface EnrolKeyRecord {
  readonly id: string;
  readonly secret: string;
  /** The only agent that may enrol with it; null is any whose name is free. */
  readonly name: string | null;
  /** How many hosts it still enrols; absent: one. */
  readonly hostsLeft?: number;
  /** The only names that it still enrols; absent: any. */
  readonly names?: readonly string[];
  readonly until: string;
  /** Who made it. */
  readonly by: string;
}

/** A token of a program. */
export interface TokenRecord {
  readonly id: string;
  /** As `hashSecret` made it. */
  readonly secret: string;
  readonly name: string;
  readonly scope: Role;
  readonly since: string;
  /** Null: until it is removed. */
  readonly until: string | null;
  /** Who made it. */
  readonly by: string;
  /** The operator's record with which it goes; null: it stays until it is removed. */
  readonly operator: { readonly name: string; readonly since: string } | null;
}

/** A controller of those that share these records, as hosts reach it. */
export interface ControllerRecord {
  /** `https://192.0.2.1:8472` */
  readonly url: string;
  /** `sha256//…` of its certificate's public key; null without TLS. */
  readonly pin: string | null;
  /** When it last said that it is there. */
  readonly seen: string;
}

/** Everything about who may do what, without a single secret in clear. */
export interface AccessRecords {
  readonly operators: readonly OperatorRecord[];
  readonly agents: readonly AgentRecord[];
  readonly enrolKeys: readonly EnrolKeyRecord[];
  readonly tokens: readonly TokenRecord[];
  /** Of several that share a database: hosts that enrol are told of all. */
  readonly controllers: readonly ControllerRecord[];
}
