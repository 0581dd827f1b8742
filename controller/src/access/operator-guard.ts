import type { Socket } from "node:net";
import { Fault } from "@dyetrace/wire";
import type { Role } from "@dyetrace/wire/console/console-session";
import type { FastifyInstance, FastifyRequest } from "fastify";
import { isLoopbackName } from "../about/loopback.ts";
import { type AuditLog, NOBODY } from "../audit/audit-log.ts";
import type { AccessBook } from "./access-book.ts";
import { networkOfAddress } from "./network-of.ts";
import type { OperatorSessions } from "./operator-sessions.ts";
import { nameOfToken, OperatorTokens } from "./operator-tokens.ts";
import { type SessionSecret, sessionSecrets } from "./session-cookie.ts";
import { MOST_TRIES } from "./sign-in-turns.ts";
import type { TokenUses } from "./token-uses.ts";

/** Who asks. On a controller that answers on loopback alone nobody signs in and everybody may operate. */
export interface Operator {
  /** Of a token `token NAME`, which no operator can be called. */
  readonly name: string;
  readonly role: Role;
  /** A program with a token, not somebody who signed in. */
  readonly isToken: boolean;
}

declare module "fastify" {
  interface FastifyRequest {
    /** Null: nobody has signed in. */
    operator: Operator | null;
  }
  interface FastifyContextConfig {
    /** Who may use this route; by default whoever may view for reading, whoever may operate for the rest. */
    readonly needs?: Role | "nobody";
    /** No token opens it, whatever its scope. */
    readonly isForPeople?: boolean;
  }
}

export interface GuardSetup {
  readonly book: AccessBook;
  readonly sessions: OperatorSessions;
  readonly tokens: OperatorTokens;
  readonly uses: TokenUses;
  readonly audit: Pick<AuditLog, "note" | "refuse" | "count">;
  /** Nobody signs in: only programs on this machine can ask. */
  readonly isOpen: boolean;
  /** Told of each connection that shows an operator's session or a token. */
  readonly onKnown: (socket: Socket, name: string) => void;
}

/**
 * Header with the token that goes with every change: other sites' pages do not know it. @fastify/csrf-protection was
 * looked at: it keeps a second secret in a cookie of its own, where the session already has the token to compare with.
 */
const FORM_TOKEN_HEADER = "x-dyetrace-form";
/** Whoever asks where nobody signs in. */
export const THIS_MACHINE: Operator = { name: "this machine", role: "operate", isToken: false };
/** A stream that is open when its operator or token loses the right to it is cut within this time. */
const LOOK_AGAIN_MS = 500;

/** Asks every request for its right, before its body is read and once it is whole. @throws {Fault} NOT_SIGNED_IN, NOT_ALLOWED, TOO_MANY, in the hook */
export function guardRoutes(app: FastifyInstance, setup: GuardSetup): void {
  const open = new Map<FastifyRequest, { readonly secret: SessionSecret; readonly cut: () => void }>();
  const brake = app.createRateLimit({
    max: MOST_TRIES,
    timeWindow: "1 minute",
    keyGenerator: ({ ip }) => networkOfAddress(ip),
  });
  app.decorateRequest("operator", null);
  app.addHook("onRequest", async (request, reply) => {
    refuseStrangePages(request, setup.isOpen);
    const need = needOf(request);
    if (setup.isOpen) {
      request.operator = THIS_MACHINE;
      return;
    }
    const [secret = null] = sessionSecrets(request);
    if (secret !== null && !OperatorTokens.hasForm(secret.text)) await setup.sessions.learn(secret.text);
    const found = secret === null ? null : whoIs(secret.text, setup);
    request.operator = found?.operator ?? null;
    if (found !== null) {
      setup.onKnown(request.raw.socket, found.operator.name);
      noteUse(request, found, setup);
    }
    if (found === null && secret !== null && !secret.isCookie) {
      noteRefusal(request, secret.text, setup);
      // Whoever has the right token is never counted, so a guesser behind the same router keeps nobody out.
      const { isAllowed, ...state } = await brake(request);
      if (!isAllowed && "isExceeded" in state && state.isExceeded) {
        throw new Fault("TOO_MANY", "Too many wrong tokens from this network", `Try again in ${state.ttlInSeconds} s`);
      }
    }
    if (need === "nobody") return;
    if (secret === null) throw notSignedIn(null, setup);
    demandRight(request, secret, found, setup);
    open.set(request, { secret, cut: () => reply.raw.destroy() });
  });
  // A body may be as slow as it likes: whoever has lost the right until it is whole changes nothing any more.
  app.addHook("preHandler", async (request) => {
    const secret = open.get(request)?.secret;
    if (secret === undefined) return;
    const found = whoIs(secret.text, setup);
    request.operator = found?.operator ?? request.operator; // who is nobody by now is named in the trail all the same
    demandRight(request, secret, found, setup);
  });
  app.addHook("onResponse", async (request) => void open.delete(request));
  app.addHook("onRequestAbort", async (request) => void open.delete(request));
  const looking = setInterval(() => {
    for (const { secret, cut } of open.values()) if (whoIs(secret.text, setup) === null) cut();
  }, LOOK_AGAIN_MS);
  looking.unref();
  app.addHook("onClose", async () => clearInterval(looking));
}

interface Found {
  readonly operator: Operator;
  /** Null: of a token, which no browser sends by itself. */
  readonly formToken: string | null;
  /** Null: it is a session. */
  readonly tokenId: string | null;
}

function whoIs(secret: string, { book, sessions, tokens }: GuardSetup): Found | null {
  if (OperatorTokens.hasForm(secret)) {
    const answer = tokens.find(secret, Date.now());
    if (answer.kind !== "good") return null;
    const operator = { name: nameOfToken(answer.name), role: answer.role, isToken: true };
    return { operator, formToken: null, tokenId: answer.id };
  }
  const found = sessions.find(secret, book.records.operators, Date.now());
  if (found === null) return null;
  const { name, role } = found.operator;
  return { operator: { name, role, isToken: false }, formToken: found.formToken, tokenId: null };
}

/** @throws {Fault} NOT_SIGNED_IN, NOT_ALLOWED */
function demandRight(request: FastifyRequest, secret: SessionSecret, found: Found | null, setup: GuardSetup): void {
  if (found === null) throw notSignedIn(secret, setup);
  const { operator, formToken } = found;
  if (secret.isCookie && isChange(request) && request.headers[FORM_TOKEN_HEADER] !== formToken) {
    throw new Fault("NOT_ALLOWED", "This change did not come from the console's own page", "Load the page again");
  }
  if (needOf(request) === "operate" && operator.role !== "operate") {
    throw new Fault("NOT_ALLOWED", `${operator.name} may look, not operate`, "Ask someone who may");
  }
  if (operator.isToken && request.routeOptions.config?.isForPeople === true) {
    throw new Fault("NOT_ALLOWED", "No token may make or remove tokens", "Sign in as an operator for that");
  }
}

function noteUse({ ip }: FastifyRequest, { operator, tokenId }: Found, { uses, audit }: GuardSetup): void {
  if (tokenId === null || !uses.note(tokenId, ip, Date.now())) return;
  audit.count("token-first-used");
  audit.note(operator.name, ip, "was used for the first time");
}

/** Whose token it was stands there only where its secret was right. */
function noteRefusal({ ip }: FastifyRequest, secret: string, { tokens, audit }: GuardSetup): void {
  const answer = tokens.find(secret, Date.now());
  audit.count("token-refused");
  if (answer.kind === "ended") audit.refuse(nameOfToken(answer.name), ip, "was refused: its time is over");
  else audit.refuse(NOBODY, ip, "was refused with a token that opens nothing");
}

function notSignedIn(secret: SessionSecret | null, { tokens }: GuardSetup): Fault {
  if (secret === null || secret.isCookie || !OperatorTokens.hasForm(secret.text)) {
    return new Fault("NOT_SIGNED_IN", "Nobody has signed in", "Sign in on the console, or with `dyetrace sign-in`");
  }
  const answer = tokens.find(secret.text, Date.now());
  const message =
    answer.kind === "ended"
      ? `The time of the token ${answer.name} is over`
      : "This token is not known, or was removed";
  return new Fault("NOT_SIGNED_IN", message, "Make another one with `dyetrace token add`, or on the console");
}

/** By the route as it was registered: no spelling of a path gets round it. */
function needOf(request: FastifyRequest): Role | "nobody" {
  const { url, config } = request.routeOptions;
  const needs = config?.needs;
  if (needs !== undefined) return needs;
  if (url === undefined || !(url.startsWith("/api/") || url === "/metrics")) return "nobody";
  return isChange(request) ? "operate" : "view";
}

const isChange = ({ method }: FastifyRequest): boolean => method !== "GET" && method !== "HEAD" && method !== "OPTIONS";

/**
 * A page of somebody else's, open in a browser that can reach this controller, must not get through: it is known by its
 * Origin, or by the name it gave this machine.
 */
function refuseStrangePages(request: FastifyRequest, isOpen: boolean): void {
  const { origin } = request.headers;
  const isOwn = origin === undefined || hostOf(origin) === request.host;
  if (!isOwn && isChange(request)) {
    throw new Fault("NOT_ALLOWED", `A page of ${origin} may change nothing here`, "Use this controller's own console");
  }
  if (isOpen && !isLoopbackName(request.hostname)) {
    throw new Fault(
      "NOT_ALLOWED",
      `Nobody signs in here, so this controller answers only as 127.0.0.1 or localhost, not as ${request.hostname}`,
      "Start it with --listen ADDRESS:PORT for other machines",
    );
  }
}

const hostOf = (origin: string): string | null => (URL.canParse(origin) ? new URL(origin).host : null);
