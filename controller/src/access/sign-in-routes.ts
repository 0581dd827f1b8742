import Type, { type Static } from "@dyetrace/schema";
import { Fault } from "@dyetrace/wire";
import {
  type ConsoleSession,
  ConsoleSessionSchema,
  type SignedIn,
  SignedInSchema,
} from "@dyetrace/wire/console/console-session";
import { DoneSchema } from "@dyetrace/wire/console/done";
import type { FastifyInstance } from "fastify";
import { type AuditLog, NOBODY } from "../audit/audit-log.ts";
import type { AccessBook } from "./access-book.ts";
import type { OperatorSessions } from "./operator-sessions.ts";
import { isPassword } from "./password.ts";
import { giveSessionCookie, sessionSecrets, takeSessionCookie } from "./session-cookie.ts";

export interface SignInSetup {
  readonly book: AccessBook;
  readonly sessions: OperatorSessions;
  readonly audit: AuditLog;
  readonly isOpen: boolean;
}

const SignInSchema = Type.Object(
  { name: Type.String({ maxLength: 63 }), password: Type.String({ maxLength: 512 }) },
  { additionalProperties: false },
);

/** Tries of one address in a minute; whoever guesses needs years for a poor password. */
const MOST_TRIES = 10;
/** Passwords that are worked out at the same time: each takes a processor and 32 MB for a while. */
const MOST_AT_ONCE = 2;

/** `GET /api/session`, `POST /api/sign-in`, `POST /api/sign-out`. */
export function registerSignIn(app: FastifyInstance, setup: SignInSetup): void {
  const { book, sessions, audit, isOpen } = setup;
  let working = 0;
  app.get(
    "/api/session",
    { config: { needs: "nobody" }, schema: { summary: "Who has signed in", response: { 200: ConsoleSessionSchema } } },
    (request): ConsoleSession => {
      const [secret] = sessionSecrets(request);
      const session = secret === undefined ? null : sessions.find(secret.text, Date.now());
      return {
        isOpen,
        operator: request.operator,
        formToken: request.operator === null ? null : (session?.formToken ?? null),
        hasOperators: isOpen || book.records.operators.length > 0,
      };
    },
  );
  app.post<{ Body: Static<typeof SignInSchema> }>(
    "/api/sign-in",
    {
      config: { needs: "nobody", rateLimit: { max: MOST_TRIES, timeWindow: "1 minute" } },
      schema: { summary: "Signs an operator in", body: SignInSchema, response: { 200: SignedInSchema } },
    },
    async (request, reply): Promise<SignedIn> => {
      const { name, password } = request.body;
      const operator = book.records.operators.find((one) => one.name === name) ?? null;
      if (working >= MOST_AT_ONCE) throw new Fault("TOO_MANY", "Too many sign-ins at once", "Try again in a second");
      working++;
      const isRight = await isPassword(password, operator?.password ?? null).finally(() => working--);
      if (!isRight || operator === null) {
        // A name that is nobody's may be a password that was typed too early: it is not written down.
        const asWhom = operator === null ? "" : ` as ${operator.name}`;
        audit.count("sign-in-refused");
        audit.refuse(NOBODY, request.ip, `was refused at sign-in${asWhom}`);
        throw new Fault("NOT_SIGNED_IN", "That name and password do not go together", "");
      }
      audit.count("signed-in");
      audit.note(operator.name, request.ip, "signed in");
      const { secret, formToken } = sessions.begin(operator.name, Date.now());
      giveSessionCookie(reply, secret);
      // Commands take the secret from here and send it as a bearer token.
      return { operator: { name: operator.name, role: operator.role }, formToken, token: secret };
    },
  );
  app.post(
    "/api/sign-out",
    { config: { needs: "view" }, schema: { summary: "Signs out", response: { 200: DoneSchema } } },
    (request, reply) => {
      for (const { text } of sessionSecrets(request)) sessions.end(text);
      takeSessionCookie(reply);
      audit.note(request.operator?.name ?? "", request.ip, "signed out");
      return {};
    },
  );
}
