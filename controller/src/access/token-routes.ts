import Type from "@dyetrace/schema";
import { Fault } from "@dyetrace/wire";
import {
  AccessTokenSchema,
  type TokenMade,
  TokenMadeSchema,
  type TokenOrder,
  TokenOrderSchema,
} from "@dyetrace/wire/console/access-token";
import { DoneSchema } from "@dyetrace/wire/console/done";
import type { FastifyInstance } from "fastify";
import type { AuditLog } from "../audit/audit-log.ts";
import type { AccessBook } from "./access-book.ts";
import type { OperatorTokens } from "./operator-tokens.ts";

export interface TokenSetup {
  readonly book: AccessBook;
  readonly tokens: OperatorTokens;
  readonly audit: Pick<AuditLog, "count">;
  /** Nobody signs in, so nobody has made them. */
  readonly isOpen: boolean;
}

/** `/api/tokens`: tokens of programs, which operators make and take away; a program never does. */
export function registerTokens(app: FastifyInstance, { book, tokens, audit, isOpen }: TokenSetup): void {
  const config = { isForPeople: true };
  app.get(
    "/api/tokens",
    { schema: { summary: "Tokens of programs", response: { 200: Type.Array(AccessTokenSchema) } } },
    () => tokens.list(Date.now()),
  );
  app.post<{ Body: TokenOrder }>(
    "/api/tokens",
    {
      config,
      schema: { summary: "Makes a token for a program", body: TokenOrderSchema, response: { 200: TokenMadeSchema } },
    },
    (request): TokenMade => {
      const { name, scope, lastsS } = request.body;
      const by = request.operator?.name ?? "";
      const operator = book.records.operators.find((one) => one.name === by) ?? null;
      // Who is nobody's would be kept with no operator, and outlast everybody.
      if (operator === null && !isOpen) throw new Fault("NOT_SIGNED_IN", `${by} is no operator any more`, "");
      const lastsMs = lastsS === null ? null : lastsS * 1000;
      const made = tokens.add({ name, scope, lastsMs, by, operator }, Date.now());
      audit.count("token-added");
      return { name, ...made };
    },
  );
  app.delete<{ Params: { name: string } }>(
    "/api/tokens/:name",
    { config, schema: { summary: "Takes a token away, at once", response: { 200: DoneSchema } } },
    (request) => {
      const { name } = request.params;
      if (!tokens.remove(name)) throw new Fault("OPTION_INVALID", `No token is called ${name}`, "");
      audit.count("token-removed");
      return {};
    },
  );
}
