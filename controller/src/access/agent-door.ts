import { randomBytes, timingSafeEqual } from "node:crypto";
import { Fault } from "@dyetrace/wire";
import type { EnrolledAgent } from "@dyetrace/wire/console/console-agent";
import type { AccessBook } from "./access-book.ts";
import type { AgentRecord } from "./access-records.ts";
import {
  admitCredential,
  CREDENTIAL_LASTS_MS,
  hasEnded,
  isRenewalDue,
  withNext,
  withNextInUse,
} from "./agent-credential.ts";
import {
  afterUse,
  checkHostsToEnrol,
  ENROL_WITHIN_MS,
  type HostsToEnrol,
  type KeyFor,
  keyRecord,
  MOST_KEYS,
} from "./enrol-keys.ts";
import { drawSecret, hashSecret } from "./secret.ts";

/** What a key to enrol with begins with, so that an agent knows what it was given. */
const ENROL_PREFIX = "enrol-";

/** What an agent is handed, this one time in clear. */
export interface IssuedCredential {
  /** `id.secret` */
  readonly credential: string;
  /** ISO 8601 */
  readonly until: string;
}

/**
 * Lets agents in. Each has a credential of its own, got once for a key that works once; what is kept of either is a hash.
 * A controller that answers on loopback alone may also have one key for all.
 */
export class AgentDoor {
  readonly #book: AccessBook;
  readonly #sharedKey: Buffer | null;
  readonly #lastsMs: number;

  /** @param lastsMs how long a credential lasts that is made from now on */
  constructor(book: AccessBook, sharedKey: string | null, lastsMs: number = CREDENTIAL_LASTS_MS) {
    this.#book = book;
    this.#lastsMs = lastsMs;
    this.#sharedKey = sharedKey === null ? null : Buffer.from(sharedKey);
  }

  /**
   * @returns the id of its credential; null: it has the key that is the same for all
   * @throws {Fault} NOT_AUTHORISED, CREDENTIAL_EXPIRED, CREDENTIAL_REPLACED
   */
  admit(name: string, key: string, nowMs: number): string | null {
    return this.#isShared(key) ? null : admitCredential(this.#book.records.agents, key, name, nowMs);
  }

  /**
   * Whether who was admitted with this would still be. That its time is over cuts no connection that stands: it is renewed there,
   * and a wall clock that was put forward must not send everybody away.
   * @param id as `admit` gave it
   */
  isGood(name: string, id: string | null): boolean {
    if (id === null) return this.#sharedKey !== null;
    const agent = this.#book.records.agents.find((one) => one.name === name);
    return agent !== undefined && (agent.id === id || agent.next?.id === id);
  }

  /** @returns the key in clear, this one time @throws {Fault} TOO_MANY */
  makeKey(name: string | null, by: string, nowMs: number): { readonly key: string; readonly until: string } {
    return this.#keepKey({ name }, ENROL_WITHIN_MS, by, nowMs);
  }

  /**
   * A key for many hosts, each once: none that is enrolled already.
   * @returns it in clear, this one time @throws {Fault} OPTION_INVALID, TOO_MANY
   */
  makeKeyForMany(want: HostsToEnrol, by: string, nowMs: number): { readonly key: string; readonly until: string } {
    const { hosts, names, lastsMs } = checkHostsToEnrol(want);
    return this.#keepKey({ name: null, hostsLeft: hosts, ...(names === null ? {} : { names }) }, lastsMs, by, nowMs);
  }

  #keepKey(whose: KeyFor, lastsMs: number, by: string, nowMs: number): { key: string; until: string } {
    const secret = drawSecret();
    const id = randomBytes(8).toString("hex");
    const until = new Date(nowMs + lastsMs).toISOString();
    this.#book.change(({ enrolKeys }) => {
      const standing = enrolKeys.filter((key) => Date.parse(key.until) > nowMs);
      if (standing.length >= MOST_KEYS) {
        throw new Fault("TOO_MANY", `${MOST_KEYS} keys to enrol with are unused`, "Wait until some have run out");
      }
      return { enrolKeys: [...standing, { id, secret: hashSecret(secret), ...whose, until, by }] };
    });
    return { key: `${ENROL_PREFIX}${id}.${secret}`, until };
  }

  /**
   * Takes a key, which works once for each host that it is for, and hands out a credential.
   * @throws {Fault} NOT_AUTHORISED for a key that is unknown, used or too old; NAME_TAKEN, and the key still works
   */
  enrol(key: string, name: string, from: string, nowMs: number): IssuedCredential {
    const bare = key.startsWith(ENROL_PREFIX) ? key.slice(ENROL_PREFIX.length) : "";
    keyRecord(this.#book.records, bare, name, nowMs); // whoever only guesses takes no lock
    const id = randomBytes(8).toString("hex");
    const secret = drawSecret();
    const [since, until] = [nowMs, nowMs + this.#lastsMs].map((ms) => new Date(ms).toISOString()) as [string, string];
    const agent: AgentRecord = { id, name, secret: hashSecret(secret), since, from, until };
    this.#book.change((now) => {
      const record = keyRecord(now, bare, name, nowMs);
      return {
        enrolKeys: now.enrolKeys.flatMap((one) => (one.id === record.id ? afterUse(one, name) : [one])),
        agents: [...now.agents.filter((one) => one.name !== name), agent],
      };
    });
    return { credential: `${id}.${secret}`, until };
  }

  enrolled(nowMs: number): readonly Omit<EnrolledAgent, "trouble">[] {
    return this.#book.records.agents.map((agent) => ({
      name: agent.name,
      since: agent.since,
      from: agent.from,
      until: agent.until ?? null,
      hasEnded: hasEnded(agent, nowMs),
      isRenewalDue: isRenewalDue(agent, this.#lastsMs, nowMs),
    }));
  }

  get records(): readonly AgentRecord[] {
    return this.#book.records.agents;
  }

  isRenewalDue(agent: AgentRecord, nowMs: number): boolean {
    return isRenewalDue(agent, this.#lastsMs, nowMs);
  }

  /** Orders another credential for one agent or, null, for all. @returns whose it will be; what they have holds until then */
  orderRotation(name: string | null): readonly string[] {
    const isMeant = (agent: AgentRecord): boolean => name === null || agent.name === name;
    const meant = this.#book.records.agents.filter(isMeant).map((agent) => agent.name);
    if (meant.length === 0) return [];
    this.#book.change(({ agents }) => ({
      agents: agents.map((agent) => (isMeant(agent) ? { ...agent, isRotationDue: true } : agent)),
    }));
    return meant;
  }

  /**
   * Draws another credential for each: written down before anybody is told, beside the one in use.
   * @throws {Fault} as `AccessBook.change`; nothing has changed then
   */
  draw(names: ReadonlySet<string>, nowMs: number): ReadonlyMap<string, IssuedCredential> {
    const until = new Date(nowMs + this.#lastsMs).toISOString();
    const issued = new Map<string, IssuedCredential>();
    this.#book.change(({ agents }) => ({
      agents: agents.map((agent) => {
        if (!names.has(agent.name)) return agent;
        const [id, secret] = [randomBytes(8).toString("hex"), drawSecret()];
        issued.set(agent.name, { credential: `${id}.${secret}`, until });
        return withNext(agent, id, secret, until);
      }),
    }));
    return issued;
  }

  /** Each of these agents has kept or used the credential of that id. @throws {Fault} as `AccessBook.change` */
  takeUp(kept: ReadonlyMap<string, string>, nowMs: number): void {
    const at = new Date(nowMs).toISOString();
    this.#book.change(({ agents }) => ({
      agents: agents.map((agent) => withNextInUse(agent, kept.get(agent.name) ?? "", at)),
    }));
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
