import type { Socket } from "node:net";
import { Fault } from "@dyetrace/wire";
import type { Role } from "@dyetrace/wire/console/console-session";
import type { FastifyInstance, FastifyRequest } from "fastify";
import type { AccessBook } from "./access-book.ts";
import type { OperatorSessions } from "./operator-sessions.ts";
import { sessionSecrets } from "./session-cookie.ts";

/** Who asks. On a controller that answers on loopback alone nobody signs in and everybody may operate. */
export interface Operator {
  readonly name: string;
  readonly role: Role;
}

declare module "fastify" {
  interface FastifyRequest {
    /** Null: nobody has signed in. */
    operator: Operator | null;
  }
  interface FastifyContextConfig {
    /** Who may use this route; by default whoever may view for reading, whoever may operate for the rest. */
    readonly needs?: Role | "nobody";
  }
}

export interface GuardSetup {
  readonly book: AccessBook;
  readonly sessions: OperatorSessions;
  /** Nobody signs in: only programs on this machine can ask. */
  readonly isOpen: boolean;
  /** Told of each connection that shows an operator's session. */
  readonly onKnown: (socket: Socket, name: string) => void;
}

/**
 * Header with the token that goes with every change: other sites' pages do not know it. @fastify/csrf-protection was
 * looked at: it keeps a second secret in a cookie of its own, where the session already has the token to compare with.
 */
const FORM_TOKEN_HEADER = "x-dyetrace-form";
const THIS_MACHINE: Operator = { name: "this machine", role: "operate" };
/** A stream that is open when its operator loses the right to it is cut within this time. */
const LOOK_AGAIN_MS = 2000;

/** Asks every request for its right, before its body is read. @throws {Fault} NOT_SIGNED_IN, NOT_ALLOWED, in the hook */
export function guardRoutes(app: FastifyInstance, setup: GuardSetup): void {
  const open = new Map<FastifyRequest, { readonly secret: string | null; readonly cut: () => void }>();
  app.decorateRequest("operator", null);
  app.addHook("onRequest", async (request, reply) => {
    refuseStrangePages(request, setup.isOpen);
    const need = needOf(request);
    if (setup.isOpen) {
      request.operator = THIS_MACHINE;
      return;
    }
    const [secret = null] = sessionSecrets(request);
    const found = secret === null ? null : whoIs(secret.text, setup);
    request.operator = found?.operator ?? null;
    if (found !== null) setup.onKnown(request.raw.socket, found.operator.name);
    if (need === "nobody") return;
    if (found === null || secret === null) {
      throw new Fault("NOT_SIGNED_IN", "Nobody has signed in", "Sign in on the console, or with `dyetrace sign-in`");
    }
    if (secret.isCookie && isChange(request) && request.headers[FORM_TOKEN_HEADER] !== found.formToken) {
      throw new Fault("NOT_ALLOWED", "This change did not come from the console's own page", "Load the page again");
    }
    if (need === "operate" && found.operator.role !== "operate") {
      throw new Fault("NOT_ALLOWED", `${found.operator.name} may look, not operate`, "Ask someone who may");
    }
    open.set(request, { secret: secret.text, cut: () => reply.raw.destroy() });
  });
  app.addHook("onResponse", async (request) => void open.delete(request));
  app.addHook("onRequestAbort", async (request) => void open.delete(request));
  const looking = setInterval(() => {
    for (const { secret, cut } of open.values()) if (secret !== null && whoIs(secret, setup) === null) cut();
  }, LOOK_AGAIN_MS);
  looking.unref();
  app.addHook("onClose", async () => clearInterval(looking));
}

function whoIs(
  secret: string,
  { book, sessions }: GuardSetup,
): { readonly operator: Operator; readonly formToken: string } | null {
  const found = sessions.find(secret, book.records.operators, Date.now());
  if (found === null) return null;
  const { name, role } = found.operator;
  return { operator: { name, role }, formToken: found.formToken };
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

export const isLoopbackAddress = (address: string): boolean =>
  address === "::1" || address.startsWith("127.") || address.startsWith("::ffff:127.");

export const isLoopbackName = (name: string): boolean =>
  name === "localhost" || name === "[::1]" || name === "::1" || /^127(\.\d{1,3}){3}$/.test(name);
