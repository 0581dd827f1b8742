import { Fault } from "@dyetrace/wire";
import cookies from "@fastify/cookie";
import rateLimit from "@fastify/rate-limit";
import type { FastifyInstance } from "fastify";
import type { AccessBook } from "../access/access-book.ts";
import type { AgentDoor } from "../access/agent-door.ts";
import { registerEnrolment } from "../access/enrol-routes.ts";
import type { EstateAddresses } from "../access/estate-addresses.ts";
import { KnownDevices } from "../access/known-devices.ts";
import { networkOfAddress } from "../access/network-of.ts";
import { guardRoutes } from "../access/operator-guard.ts";
import { registerOperators } from "../access/operator-routes.ts";
import { OperatorSessions } from "../access/operator-sessions.ts";
import type { OperatorTokens } from "../access/operator-tokens.ts";
import { registerSignIn } from "../access/sign-in-routes.ts";
import { registerTokens } from "../access/token-routes.ts";
import type { TokenUses } from "../access/token-uses.ts";
import type { AgentRegistry } from "../agents/agent-registry.ts";
import type { ConnectionLedger } from "../agents/connection-limits.ts";
import type { CredentialRenewal } from "../agents/credential-renewal.ts";
import { registerUpgrade } from "../agents/upgrade-routes.ts";
import type { AuditLog } from "../audit/audit-log.ts";
import { auditRequests } from "../audit/audit-requests.ts";
import { registerAudit } from "../audit/audit-routes.ts";
import type { SessionRecords } from "../store/session-records.ts";

export interface AccessSetup {
  readonly book: AccessBook;
  readonly door: AgentDoor;
  readonly tokens: OperatorTokens;
  readonly uses: TokenUses;
  readonly audit: AuditLog;
  readonly registry: AgentRegistry;
  readonly renewal: Pick<CredentialRenewal, "troubleOf">;
  readonly ledger: ConnectionLedger;
  /** Nobody signs in. */
  readonly isOpen: boolean;
  readonly pin: string | null;
  readonly addresses: Pick<EstateAddresses, "all">;
  /** Null: no other controller has them. */
  readonly sharedSessions: SessionRecords | null;
  /** Null keeps everything in memory. */
  readonly dataFolder: string | null;
}

/** Requests of one operator, or of one network where nobody has signed in, in a minute: a busy console makes a few a second. */
const MOST_REQUESTS = 3000;

/** Everything about who may do what. Before the routes that it guards. */
export async function registerAccess(app: FastifyInstance, setup: AccessSetup): Promise<void> {
  const { book, door, tokens, uses, audit, registry, renewal, ledger, isOpen, pin, addresses, dataFolder } = setup;
  const sessions = new OperatorSessions(setup.sharedSessions);
  app.addHook("onClose", async () => sessions[Symbol.dispose]());
  await app.register(rateLimit, {
    max: MOST_REQUESTS,
    timeWindow: "1 minute",
    // Strangers at an operator's address, behind one router, take nothing from the operator's share.
    keyGenerator: ({ operator, ip }) => (operator === null ? networkOfAddress(ip) : `operator ${operator.name}`),
    errorResponseBuilder: (_request, { after }) =>
      new Fault("TOO_MANY", "Too many requests from this address", `Try again in ${after}`),
  });
  await app.register(cookies);
  guardRoutes(app, {
    ...{ book, sessions, tokens, uses, audit, isOpen },
    onKnown: (socket, name) => ledger.knowOperator(socket, name),
  });
  auditRequests(app, audit);
  registerSignIn(app, { book, sessions, devices: new KnownDevices(dataFolder), audit, isOpen });
  registerEnrolment(app, {
    ...{ door, audit, pin },
    controllers: () => addresses.all,
    cut: (name) => registry.cut(name),
    troubleOf: (name) => renewal.troubleOf(name),
  });
  registerOperators(app, book, isOpen);
  registerTokens(app, { book, tokens, audit, isOpen });
  registerUpgrade(app, registry);
  registerAudit(app, audit);
}
