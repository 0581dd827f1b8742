import type http from "node:http";
import type { AddressInfo, Server } from "node:net";
import { CONTROL_MAX_BYTES, Fault, type RunProgress, type UserFile } from "@dyetrace/wire";
import { type FastifyInstance, fastify } from "fastify";
import type { Logger } from "pino";
import { WebSocketServer } from "ws";
import { AccessBook } from "../access/access-book.ts";
import { AgentDoor } from "../access/agent-door.ts";
import { AuditLog } from "../access/audit-log.ts";
import { isLoopbackName } from "../access/operator-guard.ts";
import type { TlsIdentity } from "../access/tls-identity.ts";
import { acceptAgents } from "../agents/accept-agents.ts";
import { AgentRegistry } from "../agents/agent-registry.ts";
import { registerAgentRoutes } from "../agents/agent-routes.ts";
import { makeServer } from "../agents/connection-limits.ts";
import { registerConsole } from "../console/console-routes.ts";
import { ReportIntake } from "../intake/report-intake.ts";
import { LIVE_SAFETY, PRACTICE_SAFETY, type Safety } from "../plan/safety.ts";
import { keepHeartbeat, pickUpRuns } from "../runs/pick-up-runs.ts";
import { RunDesk } from "../runs/run-desk.ts";
import { registerRunRoutes } from "../runs/run-routes.ts";
import { RunSchedule } from "../runs/run-schedule.ts";
import { startScheduledRun } from "../runs/start-run.ts";
import { keepUp } from "../runs/upkeep.ts";
import { watchControl } from "../runs/watch-control.ts";
import { DEFAULT_RETENTION, type Retention } from "../store/retention.ts";
import { openStore, type Store } from "../store/store.ts";
import { registerMetrics } from "./metrics.ts";
import { registerOpenApi } from "./open-api.ts";
import { registerAccess } from "./register-access.ts";

export interface ControllerOptions {
  /** Address for operators: HTTP. Port 0 takes a free one. */
  readonly host: string;
  readonly port: number;
  /** One key for all agents, beside those that enrol: only where nobody else can reach this controller. */
  readonly agentKey?: string;
  /** Without it everything travels in clear. */
  readonly tls?: TlsIdentity;
  /** Operators sign in; by default unless it answers on loopback alone. */
  readonly isSignInNeeded?: boolean;
  /** Another listening socket for agents alone: the management network of a practice site. */
  readonly agentServer?: Server;
  readonly log: Logger;
  /** Where runs are kept; whoever opened it closes it. Without one they are kept in memory, as long as this controller lives. */
  readonly store?: Store;
  /** How long reports and runs are kept. */
  readonly retention?: Retention;
  /** Where the plan, and who may do what, are kept; without it in memory. */
  readonly dataFolder?: string;
  /** The plan that the console shows first. */
  readonly plan?: UserFile;
  readonly isPractice?: boolean;
  /** How carefully runs begin; by default as `isPractice` says. */
  readonly safety?: Safety;
}

export interface Controller extends AsyncDisposable {
  readonly url: string;
  readonly registry: AgentRegistry;
  readonly runs: RunDesk;
  readonly store: Store;
  /** For routes that only some set-ups have (the practice site's). Register before `listen`. */
  readonly app: FastifyInstance;
  close(): Promise<void>;
}

/** HTTP status of our own failures; 400 for the others, which are the request's. */
const STATUS: Partial<Record<Fault["code"], number>> = {
  RUN_UNKNOWN: 404,
  BASELINE_UNKNOWN: 404,
  RUN_BUSY: 409,
  RUN_UNFINISHED: 409,
  AGENT_MISSING: 404,
  NOT_SIGNED_IN: 401,
  NOT_AUTHORISED: 403,
  NOT_ALLOWED: 403,
  TOO_MANY: 429,
  STORE_UNREACHABLE: 503,
  STORE_BUSY: 503,
  STORE_FULL: 507,
  STORE_READ_ONLY: 503,
  STORE_CORRUPT: 503,
};

/** @throws {Fault} PORT_TAKEN when the address can't be had */
export async function startController(
  options: ControllerOptions,
  extraRoutes: (app: FastifyInstance) => void = () => {},
): Promise<Controller> {
  const isOpen = options.isSignInNeeded !== true && isLoopbackName(options.host);
  const dataFolder = options.dataFolder ?? null;
  const book = new AccessBook(dataFolder, (err) => options.log.error({ err }, "who may do what stays as it was"));
  const audit = new AuditLog(dataFolder, options.log);
  const door = new AgentDoor(book, options.agentKey ?? null);
  const registry = new AgentRegistry(door);
  const runs = new RunDesk();
  const store = options.store ?? (await openStore({ kind: "memory" }));
  const intake = new ReportIntake(store, options.log);
  registry.on("message", (session, message) => {
    if (message.kind === "report") intake.take(session, message);
    if (message.kind === "trouble") {
      const { runId, code } = message;
      options.log.warn({ agent: session.name, runId, code }, message.message);
    }
  });
  registry.on("connected", ({ name, runId }) => options.log.info({ agent: name, runId }, "agent connected"));
  registry.on("gone", ({ name }) => options.log.info({ agent: name }, "agent gone"));
  runs.on("progress", (runId, progress) => logProgress(options.log, runId, progress));
  const app = fastify({
    bodyLimit: 2 * 1024 * 1024,
    forceCloseConnections: true,
    serverFactory: (handler) => makeServer(options.tls ?? null, handler),
  });
  app.setErrorHandler((error, _request, reply) => {
    if (error instanceof Fault) {
      const status = STATUS[error.code] ?? 400;
      const { code, message, hint, place } = error;
      return reply.status(status).send({ code, message, hint, place: place ?? null });
    }
    const statusCode = (error as { statusCode?: number }).statusCode ?? 500;
    if (statusCode >= 500) options.log.error({ err: error }, "request failed");
    const code = statusCode === 429 ? "TOO_MANY" : "INTERNAL";
    return reply.status(statusCode).send({ code, message: (error as Error).message, hint: "" });
  });
  await registerOpenApi(app);
  const pin = options.tls?.pin ?? null;
  await registerAccess(app, { book, door, audit, registry, isOpen, pin });
  registerMetrics(app, { registry, runs, intake });
  registerAgentRoutes(app, registry);
  const safety = options.safety ?? (options.isPractice === true ? PRACTICE_SAFETY : LIVE_SAFETY);
  const retention = options.retention ?? DEFAULT_RETENTION;
  const undertaking = { registry, runs, store, intake, safety };
  const schedule = new RunSchedule(store, (record) => startScheduledRun(record, undertaking), options.log);
  registerRunRoutes(app, undertaking, schedule, retention);
  registerConsole(app, {
    registry,
    runs,
    agentKey: isOpen ? (options.agentKey ?? null) : null,
    plan: options.plan ?? null,
    dataFolder,
    isPractice: options.isPractice ?? false,
    isLive: safety.isLive,
    store,
  });
  extraRoutes(app);

  const surroundings = { registry, runs, store, intake, log: options.log };
  const heartbeat = keepHeartbeat(surroundings);
  const upkeeping = keepUp(store, retention, Date.now, options.log);
  const control = watchControl(registry, runs, store, Date.now);
  // A practice site goes with its controller, and so do its runs.
  const isLasting = options.store !== undefined && options.isPractice !== true;
  await pickUpRuns(surroundings, isLasting); // before agents can connect
  await schedule.takeUp();
  const sockets = new WebSocketServer({
    noServer: true,
    maxPayload: CONTROL_MAX_BYTES,
  });
  acceptAgents(app.server, sockets, registry, options.log);
  const agentHttp = options.agentServer === undefined ? null : makeServer(null, refuseRequest);
  if (agentHttp !== null) {
    acceptAgents(agentHttp, sockets, registry, options.log);
    agentHttp.listen(options.agentServer);
  }
  try {
    await app.listen({ host: options.host, port: options.port });
  } catch (cause) {
    agentHttp?.close();
    registry.close();
    schedule[Symbol.dispose]();
    heartbeat[Symbol.dispose]();
    upkeeping[Symbol.dispose]();
    control[Symbol.dispose]();
    if (options.store === undefined) await store.close();
    throw portTaken(options, cause as NodeJS.ErrnoException);
  }
  const { port } = app.server.address() as AddressInfo;
  const host = options.host.includes(":") ? `[${options.host}]` : options.host;
  const close = async (): Promise<void> => {
    if (isLasting) runs.leaveAll();
    else runs.abortAll();
    for (const client of sockets.clients) client.terminate();
    sockets.close();
    agentHttp?.close();
    agentHttp?.closeAllConnections();
    await app.close();
    registry.close();
    schedule[Symbol.dispose]();
    heartbeat[Symbol.dispose]();
    upkeeping[Symbol.dispose]();
    control[Symbol.dispose]();
    await intake.close();
    if (options.store === undefined) await store.close();
  };
  return {
    url: `${options.tls === undefined ? "http" : "https"}://${host}:${port}`,
    registry,
    runs,
    store,
    app,
    close,
    [Symbol.asyncDispose]: close,
  };
}

/** What an operator wants to see in the log, each with the run's id. */
function logProgress(log: Logger, runId: string, progress: RunProgress): void {
  switch (progress.kind) {
    case "go":
      log.info({ runId, lastsMs: progress.lastsMs }, "run begins");
      break;
    case "done":
      log.info({ runId, verdict: progress.report.verdict }, "run is over");
      break;
    case "failed":
      log.warn({ runId, code: progress.code }, progress.message);
      break;
    default:
      log.debug({ runId, kind: progress.kind }, "run goes on");
  }
}

const refuseRequest: http.RequestListener = (_request, response) => {
  response.writeHead(404, { "content-type": "text/plain" }).end("This address is for agents.\n");
};

function portTaken(options: ControllerOptions, cause: NodeJS.ErrnoException): Fault {
  return new Fault(
    "PORT_TAKEN",
    `Cannot listen on ${options.host}:${options.port}: ${cause.code ?? cause.message}`,
    "Another program has it, perhaps another dyetrace; choose an address with --listen HOST:PORT",
    { cause },
  );
}
