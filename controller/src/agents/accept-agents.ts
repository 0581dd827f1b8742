import type { Server } from "node:http";
import { AGENT_LINK_PATH } from "@dyetrace/wire";
import type { Logger } from "pino";
import type { WebSocketServer } from "ws";
import { VERSION } from "../about/version.ts";
import { type SessionGate, serveAgentSocket } from "./agent-session.ts";
import { CONNECTION_LIMITS, type ConnectionLedger, shareOf } from "./connection-limits.ts";
import { FairRoom } from "./fair-room.ts";

/** Takes agents' WebSockets on a server, and no more strangers at a time than can do no harm. */
export function acceptAgents(
  server: Server,
  sockets: WebSocketServer,
  gate: SessionGate,
  ledger: ConnectionLedger,
  log: Logger,
): void {
  const strangers = new FairRoom(CONNECTION_LIMITS.mostStrangeSockets);
  let upgrades = 0;
  const watched: SessionGate = {
    admit: (hello, session) => gate.admit(hello, session),
    onRunMessage: (session, message) => gate.onRunMessage(session, message),
    onGone: (session) => gate.onGone(session),
    stamp: (message) => (gate.stamp === undefined ? message : gate.stamp(message)),
    onUpgradeAnswer: (session, message) => gate.onUpgradeAnswer?.(session, message),
    onCredentialAnswer: (session, message) => gate.onCredentialAnswer?.(session, message),
    onGathered: (session, message) => gate.onGathered?.(session, message),
    onLooked: (session, message) => gate.onLooked?.(session, message),
    onSurroundings: (session, message) => gate.onSurroundings?.(session, message),
  };
  server.on("upgrade", (request, socket, head) => {
    // Whoever keeps a half of the connection open would keep the controller from ending.
    const refuse = (status: string): void =>
      void socket.end(`HTTP/1.1 ${status}\r\nConnection: close\r\n\r\n`, () => socket.destroy());
    if (!URL.canParse(request.url ?? "/", "http://x")) return refuse("400 Bad Request");
    if (new URL(request.url ?? "/", "http://x").pathname !== AGENT_LINK_PATH) return refuse("404 Not Found");
    const { socket: connection } = request;
    const [key, share] = [String(upgrades++), shareOf(connection)];
    strangers.enter(key, share, () => socket.destroy());
    socket.once("close", () => strangers.leave(key, share));
    // Counted as it comes in: until its timer looks, a stranger could send hundreds of megabytes.
    let strangeBytes = head.length;
    const count = (part: Buffer): void => {
      strangeBytes += part.length;
      if (strangeBytes > CONNECTION_LIMITS.strangerBytes) socket.destroy();
    };
    const admitting: SessionGate = {
      ...watched,
      admit: (hello, session) => {
        gate.admit(hello, session);
        strangers.leave(key, share);
        ledger.knowAgent(connection);
        socket.off("data", count);
      },
    };
    sockets.handleUpgrade(request, socket, head, (client) => {
      serveAgentSocket(client, connection.remoteAddress ?? "", admitting, VERSION, log);
      socket.prependListener("data", count);
    });
  });
}
