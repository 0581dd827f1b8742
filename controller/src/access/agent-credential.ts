import { Fault } from "@dyetrace/wire";
import type { AgentRecord, CredentialRecord } from "./access-records.ts";
import { hashSecret, isSecret } from "./secret.ts";

/**
 * How long an agent's credential lasts, unless the controller is told otherwise. It is renewed from half of that on, so a host may
 * be switched off for 45 days at any time, and up to 90 after a renewal (common practice, no source).
 */
export const CREDENTIAL_LASTS_MS: number = 90 * 24 * 3600e3;

/**
 * Whose credential this is. Both the one that is in use and the one that was handed over last open; not the one before.
 * @param key `id.secret` @param name who shows it
 * @throws {Fault} NOT_AUTHORISED, CREDENTIAL_EXPIRED, CREDENTIAL_REPLACED
 */
export function admitCredential(agents: readonly AgentRecord[], key: string, name: string, nowMs: number): string {
  const { agent, credential, isOld } = find(agents, key) ?? {};
  if (agent === undefined || credential === undefined) {
    throw new Fault(
      "NOT_AUTHORISED",
      `The key of agent ${name} is not known to this controller, or was revoked`,
      "Enrol it again: the console's page of agents has the line for it",
    );
  }
  if (agent.name !== name) {
    throw new Fault(
      "NOT_AUTHORISED",
      `Agent ${name} uses the credential of ${agent.name}`,
      "Give each host a credential of its own",
    );
  }
  if (isOld === true) {
    throw new Fault(
      "CREDENTIAL_REPLACED",
      `The credential of agent ${name} was exchanged for a newer one on ${dayOf(agent.old?.at ?? "")}`,
      "If its host was not put back from an older copy, somebody else has its files: find out, and enrol it again",
    );
  }
  if (hasEnded(credential, nowMs)) {
    throw new Fault(
      "CREDENTIAL_EXPIRED",
      `The credential of agent ${name} ended on ${dayOf(credential.until ?? "")}: it was away for too long to have it renewed`,
      "Enrol it again: the console's page of agents has the line for it",
    );
  }
  return credential.id;
}

export const hasEnded = ({ until }: { readonly until?: string }, nowMs: number): boolean =>
  until !== undefined && !(Date.parse(until) > nowMs);

/**
 * Whether it is time for another one: half of its time is over, an operator wants it, it has no end (an earlier version made it),
 * or it ends later than any made now. Where the clock stands before the agent's own enrolment it is wrong, and what was made by
 * it would be over once it is put right: then only an operator's order counts.
 * @param lastsMs how long one lasts that is made now
 */
export function isRenewalDue({ since, until, isRotationDue }: AgentRecord, lastsMs: number, nowMs: number): boolean {
  if (nowMs < Date.parse(since)) return isRotationDue === true;
  const leftMs = until === undefined ? Number.NaN : Date.parse(until) - nowMs;
  return isRotationDue === true || !(leftMs > lastsMs / 2 && leftMs <= lastsMs);
}

/** The record with another credential beside the one in use, in the place of one that was handed over earlier. */
export function withNext(agent: AgentRecord, id: string, secret: string, until: string): AgentRecord {
  return { ...agent, next: { id, secret: hashSecret(secret), until } };
}

/**
 * The record once the agent has kept or shown what was handed over: the one before opens nothing any more.
 * @param id of what it has kept; where that is not what was handed over last, nothing changes
 */
export function withNextInUse(agent: AgentRecord, id: string, at: string): AgentRecord {
  const { next, isRotationDue: _done, ...rest } = agent;
  if (next === undefined || next.id !== id) return agent;
  return { ...rest, ...next, old: { id: agent.id, secret: agent.secret, at } };
}

interface Found {
  readonly agent: AgentRecord;
  readonly credential: CredentialRecord;
  readonly isOld: boolean;
}

/** The id is no secret, so it is looked up as it is; the secret is compared in constant time, also where the id is nobody's. */
function find(agents: readonly AgentRecord[], key: string): Found | null {
  const [id = "", secret = ""] = key.split(".");
  let found: Found | null = null;
  for (const agent of agents) {
    if (agent.id === id) found = { agent, credential: agent, isOld: false };
    else if (agent.next?.id === id) found = { agent, credential: agent.next, isOld: false };
    else if (agent.old?.id === id) found = { agent, credential: agent.old, isOld: true };
  }
  return isSecret(secret, found?.credential.secret ?? NOBODYS) ? found : null;
}

const NOBODYS = hashSecret("");

const dayOf = (instant: string): string => instant.slice(0, 10);
