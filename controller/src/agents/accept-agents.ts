import type { Server } from "node:http";
import { AGENT_LINK_PATH } from "@dyetrace/wire";
import type { Logger } from "pino";
import type { WebSocketServer } from "ws";
import { VERSION } from "../about/version.ts";
import { type SessionGate, serveAgentSocket } from "./agent-session.ts";
import { CONNECTION_LIMITS } from "./connection-limits.ts";

/** Takes agents' WebSockets on a server, and no more strangers at a time than can do no harm. */
export function acceptAgents(server: Server, sockets: WebSocketServer, gate: SessionGate, log: Logger): void {
  const strangers = new Set<object>();
  const watched: SessionGate = {
    admit: (hello, session) => gate.admit(hello, session),
    onRunMessage: (session, message) => gate.onRunMessage(session, message),
    onGone: (session) => gate.onGone(session),
    onUpgradeAnswer: (session, message) => gate.onUpgradeAnswer?.(session, message),
  };
  server.on("upgrade", (request, socket, head) => {
    // Whoever keeps a half of the connection open would keep the controller from ending.
    const refuse = (status: string): void =>
      void socket.end(`HTTP/1.1 ${status}\r\nConnection: close\r\n\r\n`, () => socket.destroy());
    if (!URL.canParse(request.url ?? "/", "http://x")) return refuse("400 Bad Request");
    if (new URL(request.url ?? "/", "http://x").pathname !== AGENT_LINK_PATH) return refuse("404 Not Found");
    if (strangers.size >= CONNECTION_LIMITS.mostStrangers) return refuse("503 Service Unavailable");
    strangers.add(socket);
    socket.once("close", () => strangers.delete(socket));
    const admitting: SessionGate = {
      ...watched,
      admit: (hello, session) => {
        gate.admit(hello, session);
        strangers.delete(socket);
      },
    };
    const { socket: connection } = request;
    sockets.handleUpgrade(request, socket, head, (client) =>
      serveAgentSocket(client, admitting, VERSION, log, () => connection.bytesRead),
    );
  });
}
