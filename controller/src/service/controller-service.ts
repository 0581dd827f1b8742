import type http from "node:http";
import type { AddressInfo, Server } from "node:net";
import { CONTROL_MAX_BYTES, type UserFile } from "@dyetrace/wire";
import { type FastifyInstance, fastify } from "fastify";
import type { Logger } from "pino";
import { WebSocketServer } from "ws";
import { isLoopbackName } from "../about/loopback.ts";
import { AgentDoor } from "../access/agent-door.ts";
import { EstateAddresses } from "../access/estate-addresses.ts";
import { OperatorTokens } from "../access/operator-tokens.ts";
import type { TlsIdentity } from "../access/tls-identity.ts";
import { TokenUses } from "../access/token-uses.ts";
import { acceptAgents } from "../agents/accept-agents.ts";
import { AgentRegistry } from "../agents/agent-registry.ts";
import { registerAgentRoutes } from "../agents/agent-routes.ts";
import { CONNECTION_LIMITS, ConnectionLedger, makeServer } from "../agents/connection-limits.ts";
import { CredentialRenewal } from "../agents/credential-renewal.ts";
import { AuditLog } from "../audit/audit-log.ts";
import { auditRefusedAgent } from "../audit/audit-refused-agent.ts";
import { registerConsole } from "../console/console-routes.ts";
import { openDevices } from "../devices/open-devices.ts";
import type { PracticeDevices } from "../devices/practice-devices.ts";
import { ReportIntake } from "../intake/report-intake.ts";
import { openSights } from "../look/open-sights.ts";
import { LIVE_SAFETY, PRACTICE_SAFETY, type Safety } from "../plan/safety.ts";
import { registerBackupRoute } from "../runs/backup-route.ts";
import { registerHistoryRoutes } from "../runs/history-routes.ts";
import { LateWrites } from "../runs/late-writes.ts";
import { RunRegistry } from "../runs/run-registry.ts";
import { registerRunRoutes } from "../runs/run-routes.ts";
import { type Begin, RunSchedule } from "../runs/run-schedule.ts";
import { startScheduledRun } from "../runs/start-run.ts";
import { stopOrphans } from "../runs/stop-orphans.ts";
import { runStops } from "../runs/stop-runs.ts";
import { takeUpRuns } from "../runs/take-over-runs.ts";
import { keepUp } from "../runs/upkeep.ts";
import { watchControl } from "../runs/watch-control.ts";
import { DEFAULT_RETENTION, type Retention } from "../store/retention.ts";
import { openStore, type Store } from "../store/store.ts";
import { LiveStories, type SwitchInsight } from "../story/live-stories.ts";
import { answerFaults } from "./answer-faults.ts";
import { boundBodies } from "./body-budget.ts";
import { type Closers, openAll } from "./closers.ts";
import { registerHealth } from "./health.ts";
import { openLocalStop } from "./local-stop.ts";
import { logNews } from "./log-news.ts";
import { registerMetrics } from "./metrics/metrics.ts";
import { registerOpenApi } from "./open-api.ts";
import { openAccess, openEstate, scheduleClocks } from "./open-estate.ts";
import { portTaken } from "./port-taken.ts";
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
  /** Of a practice site: how its switches' group tables are read, and how their timers are set. */
  readonly switches?: SwitchInsight;
  /** Of a practice site whose switches talk; by default the devices of its data folder are read. */
  readonly devices?: PracticeDevices;
  /** How carefully runs begin; by default as `isPractice` says. */
  readonly safety?: Safety;
  /** How hosts reach this controller: where several share a store, hosts that enrol at any of them are told. */
  readonly address?: string;
  /** How long an agent's credential lasts that is made from now on. */
  readonly credentialLastsMs?: number;
}

export interface Controller extends AsyncDisposable {
  readonly url: string;
  readonly registry: AgentRegistry;
  close(): Promise<void>;
}

/**
 * Whatever of it cannot be started, what was started before is closed again.
 * @param extraRoutes that only some set-ups have, such as the practice site's
 * @throws {Fault} PORT_TAKEN when the address can't be had
 */
export function startController(
  options: ControllerOptions,
  extraRoutes: (app: FastifyInstance) => void = () => {},
): Promise<Controller> {
  return openAll(
    (closers) => openController(options, extraRoutes, closers),
    (err) => options.log.error({ err }, "not everything could be closed after the failed start"),
  );
}

/** What opens something says at once how it is closed; it all goes in reverse order, the runs first. */
async function openController(
  options: ControllerOptions,
  extraRoutes: (app: FastifyInstance) => void,
  closers: Closers,
): Promise<Controller> {
  const { log } = options;
  const isOpen = options.isSignInNeeded !== true && isLoopbackName(options.host);
  const dataFolder = options.dataFolder ?? null;
  const store = options.store ?? closers.own(await openStore({ kind: "memory" }));
  const book = await openAccess(store, dataFolder, log, closers);
  const audit = closers.own(new AuditLog(dataFolder, log));
  const door = new AgentDoor(book, options.agentKey ?? null, options.credentialLastsMs);
  const uses = closers.own(new TokenUses(dataFolder));
  const tokens = new OperatorTokens(book, uses);
  uses.keepOnly(new Set(book.records.tokens.map(({ id }) => id)));
  const intake = new ReportIntake(store, log);
  closers.add(() => intake.close());
  const late = closers.own(new LateWrites(store, log));
  const registry = new AgentRegistry(door);
  closers.add(() => registry.close());
  registry.on("refused", (fault, from) => auditRefusedAgent(audit, fault, from));
  const renewal = closers.own(
    new CredentialRenewal({
      ...{ registry, door, log, now: Date.now },
      onRenewed: (name) => {
        audit.count("credential-renewed");
        audit.note(`agent ${name}`, registry.find(name)?.from ?? "", "exchanged its credential for a newer one");
      },
    }),
  );
  const runs = new RunRegistry(!store.isPrivate);
  logNews(log, registry, runs);
  registry.on("message", (session, message) => {
    if (message.kind === "report") intake.take(session, message);
  });
  intake.on("unusable", (session, { runId, firstNumber, lastNumber }, why) => {
    const which = firstNumber === lastNumber ? `report ${firstNumber}` : `reports ${firstNumber} to ${lastNumber}`;
    const message = `${which} could not be stored: ${why}`;
    registry.onRunMessage(session, { kind: "trouble", runId, code: "INTERNAL", message, hint: "" });
  });
  const ledger = new ConnectionLedger(() => audit.count("connection-dropped"));
  const app = fastify({
    bodyLimit: 2 * 1024 * 1024,
    forceCloseConnections: true,
    serverFactory: (handler) => makeServer(options.tls ?? null, handler, ledger),
  });
  closers.add(() => app.close());
  answerFaults(app, log);
  await registerOpenApi(app);
  const pin = options.tls?.pin ?? null;
  const own = options.address === undefined || store.isPrivate ? null : { url: options.address, pin };
  const addresses = closers.own(new EstateAddresses(book, own, log));
  await registerAccess(app, {
    book,
    door,
    tokens,
    uses,
    audit,
    registry,
    renewal,
    ledger,
    isOpen,
    pin,
    addresses,
    dataFolder,
    sharedSessions: store.sessions,
  });
  boundBodies(app);
  registerMetrics(app, { registry, runs, intake, audit, door, tokens, stored: () => store.runs.list({ most: 500 }) });
  registerAgentRoutes(app, registry);
  const safety = options.safety ?? (options.isPractice === true ? PRACTICE_SAFETY : LIVE_SAFETY);
  const retention = options.retention ?? DEFAULT_RETENTION;
  const stories = closers.own(new LiveStories(store, registry, options.switches ?? null));
  const { bus, clock, holds, calls } = await openEstate({ store, registry, runs, log }, closers);
  const devices = closers.own(openDevices(app, options.devices ?? dataFolder, audit));
  const undertaking = { registry, runs, store, late, intake, safety, stories, holds, calls, devices };
  const begin: Begin = (record, isTriedBefore) => startScheduledRun(record, undertaking, isTriedBefore);
  const schedule = closers.own(new RunSchedule({ store, late }, begin, log, scheduleClocks(clock)));
  const stops = runStops({ registry, runs, store, bus }, schedule);
  if (dataFolder !== null) closers.own(await openLocalStop(dataFolder, stops, audit, log));
  registerHealth(app, clock, intake);
  registerRunRoutes(app, undertaking, schedule, retention, stops);
  registerHistoryRoutes(app, store);
  registerBackupRoute(app, store, dataFolder);
  closers.own(openSights(app, { registry, store, log, audit }));
  registerConsole(app, {
    registry,
    runs,
    agentKey: isOpen ? (options.agentKey ?? null) : null,
    plan: options.plan ?? null,
    dataFolder,
    isPractice: options.isPractice ?? false,
    isLive: safety.isLive,
    store,
    devices,
    audit,
  });
  extraRoutes(app);

  const surroundings = { ...undertaking, log };
  closers.own(keepUp(store, retention, Date.now, log));
  closers.own(watchControl(registry, runs, store, Date.now));
  const agentHttp = makeServer(null, refuseRequest, ledger);
  closers.add(() => {
    agentHttp.close();
    agentHttp.closeAllConnections();
  });
  const sockets = new WebSocketServer({ noServer: true, maxPayload: CONTROL_MAX_BYTES });
  closers.add(() => {
    for (const client of sockets.clients) client.terminate();
    sockets.close();
  });
  for (const server of [app.server, agentHttp]) acceptAgents(server, sockets, registry, ledger, log);
  // A practice site goes with its controller, and so do its runs.
  const isLasting = options.store !== undefined && options.isPractice !== true;
  closers.add(() => (isLasting ? runs.leaveAll() : runs.abortAll("the end of its controller")));
  const pickedUp = closers.own(await takeUpRuns(surroundings, isLasting)); // before agents can connect
  closers.own(stopOrphans(surroundings, pickedUp));
  await schedule.takeUp();
  if (!store.isPrivate) schedule.keepUp();
  if (options.agentServer !== undefined) agentHttp.listen(options.agentServer);
  try {
    await app.listen({ host: options.host, port: options.port, backlog: CONNECTION_LIMITS.waiting });
  } catch (cause) {
    throw portTaken(options, cause as NodeJS.ErrnoException);
  }
  const { port } = app.server.address() as AddressInfo;
  const host = options.host.includes(":") ? `[${options.host}]` : options.host;
  const close = (): Promise<void> => closers.close();
  return {
    url: `${options.tls === undefined ? "http" : "https"}://${host}:${port}`,
    registry,
    close,
    [Symbol.asyncDispose]: close,
  };
}

const refuseRequest: http.RequestListener = (_request, response) => {
  response.writeHead(404, { "content-type": "text/plain" }).end("This address is for agents.\n");
};
