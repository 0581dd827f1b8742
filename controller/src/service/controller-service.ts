import http from "node:http";
import type { AddressInfo, Server } from "node:net";
import { AGENT_LINK_PATH, CONTROL_MAX_BYTES, Fault } from "@dyetrace/wire";
import { type FastifyInstance, fastify } from "fastify";
import type { Logger } from "pino";
import { WebSocketServer } from "ws";
import { VERSION } from "../version.ts";
import { AgentRegistry } from "./agent-registry.ts";
import { registerAgentRoutes } from "./agent-routes.ts";
import { serveAgentSocket } from "./agent-session.ts";
import { RunDesk } from "./run-desk.ts";
import { registerRunRoutes } from "./run-routes.ts";

export interface ControllerOptions {
  /** Address for operators: HTTP. Port 0 takes a free one. */
  readonly host: string;
  readonly port: number;
  /** What an agent must present. */
  readonly agentKey: string;
  /** Another listening socket for agents alone: the management network of a practice site. */
  readonly agentServer?: Server;
  readonly log: Logger;
}

export interface Controller extends AsyncDisposable {
  readonly url: string;
  readonly registry: AgentRegistry;
  readonly runs: RunDesk;
  /** For routes that only some set-ups have (the practice site's). Register before `listen`. */
  readonly app: FastifyInstance;
  close(): Promise<void>;
}

/** @throws {Fault} PORT_TAKEN when the address can't be had */
export async function startController(
  options: ControllerOptions,
  extraRoutes: (app: FastifyInstance) => void = () => {},
): Promise<Controller> {
  const registry = new AgentRegistry(options.agentKey);
  const runs = new RunDesk();
  const app = fastify({
    bodyLimit: 2 * 1024 * 1024,
    forceCloseConnections: true,
  });
  app.setErrorHandler((error, _request, reply) => {
    if (error instanceof Fault) {
      const status = error.code === "RUN_UNKNOWN" ? 404 : error.code === "RUN_BUSY" ? 409 : 400;
      const { code, message, hint, place } = error;
      return reply.status(status).send({ code, message, hint, place: place ?? null });
    }
    const statusCode = (error as { statusCode?: number }).statusCode ?? 500;
    if (statusCode >= 500) options.log.error({ err: error }, "request failed");
    return reply.status(statusCode).send({ code: "INTERNAL", message: (error as Error).message, hint: "" });
  });
  registerAgentRoutes(app, registry);
  registerRunRoutes(app, registry, runs);
  extraRoutes(app);

  const sockets = new WebSocketServer({
    noServer: true,
    maxPayload: CONTROL_MAX_BYTES,
  });
  sockets.on("connection", (socket) => serveAgentSocket(socket, registry, VERSION, options.log));

  acceptUpgrade(app.server, sockets);
  const agentHttp = options.agentServer === undefined ? null : http.createServer(refuseRequest);
  if (agentHttp !== null) {
    acceptUpgrade(agentHttp, sockets);
    agentHttp.listen(options.agentServer);
  }
  try {
    await app.listen({ host: options.host, port: options.port });
  } catch (cause) {
    agentHttp?.close();
    throw portTaken(options, cause as NodeJS.ErrnoException);
  }
  const { port } = app.server.address() as AddressInfo;
  const host = options.host.includes(":") ? `[${options.host}]` : options.host;
  const close = async (): Promise<void> => {
    runs.abortAll();
    for (const client of sockets.clients) client.terminate();
    sockets.close();
    agentHttp?.close();
    agentHttp?.closeAllConnections();
    await app.close();
  };
  return {
    url: `http://${host}:${port}`,
    registry,
    runs,
    app,
    close,
    [Symbol.asyncDispose]: close,
  };
}

function acceptUpgrade(server: http.Server, sockets: WebSocketServer): void {
  server.on("upgrade", (request, socket, head) => {
    if (new URL(request.url ?? "/", "http://x").pathname !== AGENT_LINK_PATH) {
      socket.end("HTTP/1.1 404 Not Found\r\nConnection: close\r\n\r\n");
      return;
    }
    sockets.handleUpgrade(request, socket, head, (client) => sockets.emit("connection", client, request));
  });
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
