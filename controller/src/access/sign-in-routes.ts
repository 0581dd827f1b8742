import Type, { type Static } from "@dyetrace/schema";
import { Fault } from "@dyetrace/wire";
import {
  type ConsoleSession,
  ConsoleSessionSchema,
  type SignedIn,
  SignedInSchema,
} from "@dyetrace/wire/console/console-session";
import { DoneSchema } from "@dyetrace/wire/console/done";
import type { FastifyInstance, FastifyRequest } from "fastify";
import { type AuditLog, NOBODY } from "../audit/audit-log.ts";
import type { AccessBook } from "./access-book.ts";
import { deviceOf, giveDevice, type KnownDevice, type KnownDevices } from "./known-devices.ts";
import { networkOfAddress } from "./network-of.ts";
import type { OperatorSessions } from "./operator-sessions.ts";
import { isPassword } from "./password.ts";
import { giveSessionCookie, sessionSecrets, takeSessionCookie } from "./session-cookie.ts";
import { MOST_TRIES, SignInTurns } from "./sign-in-turns.ts";

export interface SignInSetup {
  readonly book: AccessBook;
  readonly sessions: OperatorSessions;
  readonly devices: KnownDevices;
  readonly audit: AuditLog;
  readonly isOpen: boolean;
}

const SignInSchema = Type.Object(
  { name: Type.String({ maxLength: 63 }), password: Type.String({ maxLength: 512 }) },
  { additionalProperties: false },
);

/** `GET /api/session`, `POST /api/sign-in`, `POST /api/sign-out`. */
export function registerSignIn(app: FastifyInstance, setup: SignInSetup): void {
  const { book, sessions, devices, audit, isOpen } = setup;
  const turns = new SignInTurns();
  const deviceIn = (request: FastifyRequest): KnownDevice | null =>
    devices.find(deviceOf(request), book.records.operators);
  const shareOf = (request: FastifyRequest, device: KnownDevice | null): string =>
    device === null ? networkOfAddress(request.ip) : `device ${device.id}`;
  app.get(
    "/api/session",
    { config: { needs: "nobody" }, schema: { summary: "Who has signed in", response: { 200: ConsoleSessionSchema } } },
    (request): ConsoleSession => {
      const [secret] = sessionSecrets(request);
      const session = secret === undefined ? null : sessions.find(secret.text, book.records.operators, Date.now());
      const { operator } = request;
      return {
        isOpen,
        operator: operator === null ? null : { name: operator.name, role: operator.role },
        formToken: operator === null ? null : (session?.formToken ?? null),
        hasOperators: isOpen || book.records.operators.length > 0,
      };
    },
  );
  app.post<{ Body: Static<typeof SignInSchema> }>(
    "/api/sign-in",
    {
      config: {
        needs: "nobody",
        rateLimit: {
          max: MOST_TRIES,
          timeWindow: "1 minute",
          keyGenerator: (request) => shareOf(request, deviceIn(request)),
        },
      },
      bodyLimit: 4096,
      schema: { summary: "Signs an operator in", body: SignInSchema, response: { 200: SignedInSchema } },
    },
    async (request, reply): Promise<SignedIn> => {
      const { name, password } = request.body;
      const operator = book.records.operators.find((one) => one.name === name) ?? null;
      const device = deviceIn(request);
      const own = device?.name === operator?.name ? device : null;
      const isRight = await turns.take(shareOf(request, own), own !== null, () =>
        isPassword(password, operator?.password ?? null),
      );
      if (!isRight || operator === null) {
        // A name that is nobody's may be a password that was typed too early: it is not written down.
        const asWhom = operator === null ? "" : ` as ${operator.name}`;
        audit.count("sign-in-refused");
        audit.refuse(NOBODY, request.ip, `was refused at sign-in${asWhom}`);
        throw new Fault("NOT_SIGNED_IN", "That name and password do not go together", "");
      }
      audit.count("signed-in");
      audit.note(operator.name, request.ip, "signed in");
      const { secret, formToken } = sessions.begin(operator, Date.now());
      await sessions.share(secret);
      giveSessionCookie(reply, secret);
      if (own === null) giveDevice(reply, devices.prove(operator));
      // Commands take the secret from here and send it as a bearer token.
      return { operator: { name: operator.name, role: operator.role }, formToken, token: secret };
    },
  );
  app.post(
    "/api/sign-out",
    { config: { needs: "view" }, schema: { summary: "Signs out", response: { 200: DoneSchema } } },
    async (request, reply) => {
      for (const { text } of sessionSecrets(request)) await sessions.end(text);
      takeSessionCookie(reply);
      audit.note(request.operator?.name ?? "", request.ip, "signed out");
      return {};
    },
  );
}
