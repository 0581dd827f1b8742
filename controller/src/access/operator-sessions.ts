import type { SessionRecords } from "../store/session-records.ts";
import type { OperatorRecord } from "./access-records.ts";
import { drawSecret, hashSecret } from "./secret.ts";

/** Without a request for this long an operator signs in again. */
const IDLE_MS = 8 * 3600e3;
const LONGEST_MS = 7 * 24 * 3600e3;
const MOST_SESSIONS = 1000;

interface OperatorSession {
  readonly name: string;
  /** The record that was signed in to: its salted hash, which is another after every change of it. */
  readonly record: string;
  /** What a page of ours sends along with every change and no page of a stranger's knows. */
  readonly formToken: string;
  readonly beganMs: number;
  usedMs: number;
}

/** What ended at another controller ends here within this time. */
const LOOK_MS = 1000;
const TELL_USE_MS = 60_000;

/**
 * Who is signed in, each known by a hash of a secret. In memory: after a restart everybody signs in again. Where controllers share
 * a store, a session stands there as well, and whoever signed in at one is known at all. Looked at and
 * left: @fastify/secure-session keeps a session in its cookie, where nobody can end it when an operator is removed, and
 * needs a binary; @fastify/session keeps identifiers in clear, and neither knows the bearer tokens of commands.
 */
export class OperatorSessions implements Disposable {
  readonly #sessions = new Map<string, OperatorSession>();
  readonly #shared: SessionRecords | null;
  readonly #looking: NodeJS.Timeout | undefined;
  #toldMs = 0;

  constructor(shared: SessionRecords | null = null) {
    this.#shared = shared;
    if (shared === null) return;
    this.#looking = setInterval(() => void this.#look(shared).catch(() => undefined), LOOK_MS);
    this.#looking.unref();
  }

  /** Makes a session that was begun here known at all controllers. @throws what the store throws */
  async share(secret: string): Promise<void> {
    const id = hashSecret(secret);
    const session = this.#sessions.get(id);
    if (session !== undefined) await this.#shared?.keep({ id, ...session });
  }

  /** Looks whether a secret that is not known here was given out by another controller. @throws what the store throws */
  async learn(secret: string): Promise<void> {
    const id = hashSecret(secret);
    if (this.#shared === null || this.#sessions.has(id)) return;
    const kept = await this.#shared.find(id);
    if (kept === null || this.#sessions.size >= MOST_SESSIONS) return;
    const { name, record, beganMs, usedMs } = kept;
    this.#sessions.set(id, { name, record, formToken: formTokenOf(secret), beganMs, usedMs });
  }

  async #look(shared: SessionRecords): Promise<void> {
    const mine = [...this.#sessions];
    if (mine.length > 0) {
      const ids = await shared.ids();
      const nowMs = Date.now();
      // One that has just begun may not stand there yet.
      for (const [id, { beganMs }] of mine) if (!ids.has(id) && nowMs - beganMs > 10_000) this.#sessions.delete(id);
    }
    if (performance.now() - this.#toldMs < TELL_USE_MS) return;
    this.#toldMs = performance.now();
    for (const [id, { usedMs }] of this.#sessions) {
      if (Date.now() - usedMs < TELL_USE_MS) await shared.used(id, usedMs);
    }
    await shared.removeOlder(Date.now() - IDLE_MS, Date.now() - LONGEST_MS);
  }

  [Symbol.dispose](): void {
    clearInterval(this.#looking);
  }

  /** @returns the secret for the cookie and the token for changes */
  begin({ name, password }: OperatorRecord, nowMs: number): { readonly secret: string; readonly formToken: string } {
    if (this.#sessions.size >= MOST_SESSIONS) {
      const [longestUnused] = [...this.#sessions].sort(([, a], [, b]) => a.usedMs - b.usedMs);
      if (longestUnused !== undefined) this.#sessions.delete(longestUnused[0]);
    }
    const secret = drawSecret();
    const formToken = formTokenOf(secret);
    this.#sessions.set(hashSecret(secret), {
      name,
      record: hashSecret(password),
      formToken,
      beganMs: nowMs,
      usedMs: nowMs,
    });
    return { secret, formToken };
  }

  /**
   * A session ends with the record that was signed in to: another password, a removal. Nothing brings it back.
   * @param operators as they are now @returns who it is, as the record says now
   */
  find(
    secret: string,
    operators: readonly OperatorRecord[],
    nowMs: number,
  ): { readonly operator: OperatorRecord; readonly formToken: string } | null {
    const id = hashSecret(secret);
    const session = this.#sessions.get(id);
    if (session === undefined) return null;
    const operator = operators.find(({ name }) => name === session.name);
    const isOld = nowMs - session.usedMs > IDLE_MS || nowMs - session.beganMs > LONGEST_MS;
    if (isOld || operator === undefined || hashSecret(operator.password) !== session.record) {
      this.#sessions.delete(id);
      return null;
    }
    session.usedMs = nowMs;
    return { operator, formToken: session.formToken };
  }

  /** @throws what the store throws; here it has ended all the same */
  async end(secret: string): Promise<void> {
    this.#sessions.delete(hashSecret(secret));
    await this.#shared?.end(hashSecret(secret));
  }
}

/** Whoever has the secret has it as well, at every controller, and it tells nothing of the secret. */
const formTokenOf = (secret: string): string => hashSecret(`form ${secret}`);
