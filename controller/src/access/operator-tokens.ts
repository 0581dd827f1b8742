import { randomBytes } from "node:crypto";
import { Fault } from "@dyetrace/wire";
import type { AccessToken } from "@dyetrace/wire/console/access-token";
import type { Role } from "@dyetrace/wire/console/console-session";
import type { AccessBook } from "./access-book.ts";
import { type AccessRecords, OPERATOR_NAME, type OperatorRecord, type TokenRecord } from "./access-records.ts";
import { drawSecret, hashSecret, isSecret } from "./secret.ts";
import type { TokenUses } from "./token-uses.ts";

/** How a token begins, so that whoever finds one, or a program that looks for secrets in files, knows what it is. */
const FORM = /^dyetrace_([0-9a-f]{16})_([A-Za-z0-9_-]{43})$/;
const MOST_TOKENS = 200;

export interface NewToken {
  readonly name: string;
  readonly scope: Role;
  /** Null: until it is removed. */
  readonly lastsMs: number | null;
  /** Who makes it, for the list. */
  readonly by: string;
  /** The operator who makes it and with whom it goes; null: somebody on the controller's machine, and it stays. */
  readonly operator: OperatorRecord | null;
}

/** What a request that bears a token is told. */
export type TokenAnswer =
  | { readonly kind: "good"; readonly id: string; readonly name: string; readonly role: Role }
  | { readonly kind: "ended"; readonly name: string }
  | { readonly kind: "unknown" };

/**
 * Tokens of programs, such as Prometheus, CI and cron: named, with an end, and gone for good when they are removed. What is kept is
 * the SHA-256 of 256 random bits: nobody can try them all, so no slow hash has to make each try dear, as it does for passwords.
 */
export class OperatorTokens {
  readonly #book: AccessBook;
  readonly #uses: Pick<TokenUses, "of">;

  constructor(book: AccessBook, uses: Pick<TokenUses, "of">) {
    this.#book = book;
    this.#uses = uses;
  }

  static hasForm(text: string): boolean {
    return FORM.test(text);
  }

  /** @returns the token in clear, this one time @throws {Fault} OPTION_INVALID, NAME_TAKEN, TOO_MANY, NOT_SIGNED_IN */
  add(
    { name, scope, lastsMs, by, operator }: NewToken,
    nowMs: number,
  ): { readonly token: string; until: string | null } {
    if (!new RegExp(OPERATOR_NAME).test(name)) {
      throw new Fault("OPTION_INVALID", `"${name}" is no name for a token`, "Letters, digits and . _ @ -");
    }
    const [id, secret] = [randomBytes(8).toString("hex"), drawSecret()];
    const since = new Date(nowMs).toISOString();
    const until = lastsMs === null ? null : new Date(nowMs + lastsMs).toISOString();
    const maker = operator === null ? null : { name: operator.name, since: operator.since };
    const record: TokenRecord = { id, secret: hashSecret(secret), name, scope, since, until, by, operator: maker };
    this.#book.change((records) => {
      const { tokens } = records;
      if (roleOf(record, records) === null) throw new Fault("NOT_SIGNED_IN", `${by} is no operator any more`, "");
      if (tokens.some((one) => one.name === name)) {
        throw new Fault(
          "NAME_TAKEN",
          `There is a token ${name} already`,
          "Take another name, or remove that one first",
        );
      }
      if (tokens.length >= MOST_TOKENS) {
        throw new Fault(
          "TOO_MANY",
          `There are ${MOST_TOKENS} tokens, which is the most`,
          "Remove some that nobody uses",
        );
      }
      return { tokens: [...tokens, record] };
    });
    return { token: `dyetrace_${id}_${secret}`, until };
  }

  /** The id is no secret, so it is looked up as it is; the secret is compared in constant time, also where the id is nobody's. */
  find(text: string, nowMs: number): TokenAnswer {
    const [, id = "", secret = ""] = FORM.exec(text) ?? [];
    const records = this.#book.records;
    const token = records.tokens.find((one) => one.id === id);
    const isRight = isSecret(secret, token?.secret ?? NOBODYS);
    const role = token === undefined ? null : roleOf(token, records);
    if (token === undefined || !isRight || role === null) return { kind: "unknown" };
    if (hasEnded(token, nowMs)) return { kind: "ended", name: token.name };
    return { kind: "good", id, name: token.name, role };
  }

  /** With the keys to enrol with that it made and nobody has used. @returns false where there is none of that name */
  remove(name: string): boolean {
    if (!this.#book.records.tokens.some((one) => one.name === name)) return false;
    this.#book.change(({ tokens, enrolKeys }) => ({
      tokens: tokens.filter((one) => one.name !== name),
      enrolKeys: enrolKeys.filter(({ by }) => by !== nameOfToken(name)),
    }));
    return true;
  }

  /** In the order of their names; without those whose maker is no operator any more, which open nothing. */
  list(nowMs: number): readonly AccessToken[] {
    const records = this.#book.records;
    return records.tokens
      .flatMap((token) => {
        const { id, name, since, until, by } = token;
        const scope = roleOf(token, records);
        return scope === null
          ? []
          : [{ name, scope, since, until, hasEnded: hasEnded(token, nowMs), by, lastUse: this.#uses.of(id) }];
      })
      .sort((a, b) => a.name.localeCompare(b.name));
  }
}

/** How whoever asks with a token is named, as no operator can be. */
export const nameOfToken = (token: string): string => `token ${token}`;

/** Tokens that an operator has made. */
export const tokensOf = ({ tokens }: AccessRecords, operator: string): readonly TokenRecord[] =>
  tokens.filter((token) => token.operator?.name === operator);

/**
 * Everything without an operator: his tokens go with him, and so do the keys to enrol with that he or they made and nobody has used.
 * @param keepsTokens they stay, belong to nobody, and open what they open now; those that open nothing go
 */
export function withoutOperator(
  records: AccessRecords,
  name: string,
  keepsTokens: boolean,
): Pick<AccessRecords, "operators" | "tokens" | "enrolKeys"> {
  const left = records.tokens.flatMap((token) => {
    if (token.operator?.name !== name) return [token];
    const scope = roleOf(token, records);
    if (!keepsTokens || scope === null) return [];
    return [{ ...token, scope, by: `${name}, who was removed`, operator: null }];
  });
  const stay = new Set(left.map((token) => token.name));
  const gone = tokensOf(records, name).filter((token) => !stay.has(token.name));
  const makers = new Set([name, ...gone.map((token) => nameOfToken(token.name))]);
  const enrolKeys = records.enrolKeys.filter(({ by }) => !makers.has(by));
  return { enrolKeys, operators: records.operators.filter((one) => one.name !== name), tokens: left };
}

/**
 * No more than its maker may do now. Bound to the maker's record and not to the name: another operator who gets that name later
 * brings no token back to life. @returns null where the maker is no operator any more
 */
function roleOf({ scope, operator }: TokenRecord, { operators }: AccessRecords): Role | null {
  if (operator === null) return scope;
  const maker = operators.find(({ name, since }) => name === operator.name && since === operator.since);
  if (maker === undefined) return null;
  return maker.role === "operate" ? scope : "view";
}

const hasEnded = ({ until }: TokenRecord, nowMs: number): boolean => until !== null && !(Date.parse(until) > nowMs);

const NOBODYS = hashSecret("");
