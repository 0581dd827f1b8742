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

/**
 * Who is signed in, each known by a hash of a secret. In memory: after a restart everybody signs in again. Looked at and
 * left: @fastify/secure-session keeps a session in its cookie, where nobody can end it when an operator is removed, and
 * needs a binary; @fastify/session keeps identifiers in clear, and neither knows the bearer tokens of commands.
 */
export class OperatorSessions {
  readonly #sessions = new Map<string, OperatorSession>();

  /** @returns the secret for the cookie and the token for changes */
  begin({ name, password }: OperatorRecord, nowMs: number): { readonly secret: string; readonly formToken: string } {
    if (this.#sessions.size >= MOST_SESSIONS) {
      const [longestUnused] = [...this.#sessions].sort(([, a], [, b]) => a.usedMs - b.usedMs);
      if (longestUnused !== undefined) this.#sessions.delete(longestUnused[0]);
    }
    const secret = drawSecret();
    const formToken = drawSecret();
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

  end(secret: string): void {
    this.#sessions.delete(hashSecret(secret));
  }
}
