import { randomBytes, timingSafeEqual } from "node:crypto";
import { Fault } from "@dyetrace/wire";
import type { EnrolledAgent } from "@dyetrace/wire/console/console-agent";
import type { AccessBook } from "./access-book.ts";
import type { AccessRecords, AgentRecord, EnrolKeyRecord } from "./access-records.ts";
import { drawSecret, hashSecret, isSecret } from "./secret.ts";

/** How long a key to enrol with lasts: time to walk to a host, not to be found in a shell's history next week. */
const ENROL_WITHIN_MS = 3600e3;
/** Unused keys at the same time. */
const MOST_KEYS = 1000;
/** What a key to enrol with begins with, so that an agent knows what it was given. */
const ENROL_PREFIX = "enrol-";

/**
 * Lets agents in. Each has a credential of its own, got once for a key that works once; what is kept of either is a hash.
 * A controller that answers on loopback alone may also have one key for all.
 */
export class AgentDoor {
  readonly #book: AccessBook;
  readonly #sharedKey: Buffer | null;

  constructor(book: AccessBook, sharedKey: string | null) {
    this.#book = book;
    this.#sharedKey = sharedKey === null ? null : Buffer.from(sharedKey);
  }

  /** @throws {Fault} NOT_AUTHORISED */
  admit(name: string, key: string): void {
    if (this.#isShared(key)) return;
    const agent = find(this.#book.records.agents, key);
    if (agent === undefined) {
      throw new Fault(
        "NOT_AUTHORISED",
        `The key of agent ${name} is not known to this controller, or was revoked`,
        "Enrol it again: the console's page of agents has the line for it",
      );
    }
    if (agent.name === name) return;
    throw new Fault(
      "NOT_AUTHORISED",
      `Agent ${name} uses the credential of ${agent.name}`,
      "Give each host a credential of its own",
    );
  }

  /** Whether who was admitted with this key would still be. */
  isGood(name: string, key: string): boolean {
    return this.#isShared(key) || find(this.#book.records.agents, key)?.name === name;
  }

  /** @returns the key in clear, this one time @throws {Fault} TOO_MANY, NAME_TAKEN */
  makeKey(name: string | null, by: string, nowMs: number): { readonly key: string; readonly until: string } {
    const secret = drawSecret();
    const id = randomBytes(8).toString("hex");
    const until = new Date(nowMs + ENROL_WITHIN_MS).toISOString();
    this.#book.change(({ enrolKeys }) => {
      const standing = enrolKeys.filter((key) => Date.parse(key.until) > nowMs);
      if (standing.length >= MOST_KEYS) {
        throw new Fault("TOO_MANY", `${MOST_KEYS} keys to enrol with are unused`, "Wait until some have run out");
      }
      return { enrolKeys: [...standing, { id, secret: hashSecret(secret), name, until, by }] };
    });
    return { key: `${ENROL_PREFIX}${id}.${secret}`, until };
  }

  /**
   * Takes a key that works once and hands out a credential.
   * @throws {Fault} NOT_AUTHORISED for a key that is unknown, used or too old; NAME_TAKEN, and the key still works
   */
  enrol(key: string, name: string, from: string, nowMs: number): { readonly credential: string } {
    const bare = key.startsWith(ENROL_PREFIX) ? key.slice(ENROL_PREFIX.length) : "";
    keyRecord(this.#book.records, bare, name, nowMs); // whoever only guesses takes no lock
    const id = randomBytes(8).toString("hex");
    const secret = drawSecret();
    const agent: AgentRecord = { id, name, secret: hashSecret(secret), since: new Date(nowMs).toISOString(), from };
    this.#book.change((now) => {
      const record = keyRecord(now, bare, name, nowMs);
      return {
        enrolKeys: now.enrolKeys.filter((one) => one.id !== record.id),
        agents: [...now.agents.filter((one) => one.name !== name), agent],
      };
    });
    return { credential: `${id}.${secret}` };
  }

  enrolled(): readonly EnrolledAgent[] {
    return this.#book.records.agents.map(({ name, since, from }) => ({ name, since, from }));
  }

  /** @returns false where no such agent was enrolled */
  revoke(name: string): boolean {
    if (!this.#book.records.agents.some((agent) => agent.name === name)) return false;
    this.#book.change(({ agents }) => ({ agents: agents.filter((agent) => agent.name !== name) }));
    return true;
  }

  #isShared(key: string): boolean {
    const given = Buffer.from(key);
    return this.#sharedKey?.length === given.length && timingSafeEqual(given, this.#sharedKey);
  }
}

/** @param bare of a key: `id.secret` @throws {Fault} NOT_AUTHORISED, NAME_TAKEN */
function keyRecord({ enrolKeys, agents }: AccessRecords, bare: string, name: string, nowMs: number): EnrolKeyRecord {
  const record = find<EnrolKeyRecord>(enrolKeys, bare);
  if (record === undefined || Date.parse(record.until) <= nowMs) {
    throw new Fault(
      "NOT_AUTHORISED",
      "This key to enrol with is unknown, was used already, or has run out",
      "Make a new one on the console's page of agents",
    );
  }
  if (record.name !== null && record.name !== name) {
    throw new Fault("NOT_AUTHORISED", `This key is for the agent ${record.name}, not for ${name}`, "");
  }
  // A key that was made for this very name replaces the credential of a host that was set up anew.
  if (record.name === null && agents.some((agent) => agent.name === name)) {
    throw new Fault(
      "NAME_TAKEN",
      `An agent ${name} is enrolled already`,
      "Make a key for that name, or take another --name",
    );
  }
  return record;
}

/** @param key `id.secret` */
function find<T extends { readonly id: string; readonly secret: string }>(
  records: readonly T[],
  key: string,
): T | undefined {
  const [id, secret] = key.split(".");
  if (id === undefined || secret === undefined) return undefined;
  const record = records.find((one) => one.id === id);
  return record !== undefined && isSecret(secret, record.secret) ? record : undefined;
}
