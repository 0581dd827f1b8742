import http from "node:http";
import https from "node:https";
import type { Server, Socket } from "node:net";
import type { TlsIdentity } from "../access/tls-identity.ts";

/**
 * Limits on connections before anyone has proved who they are. A host that opens thousands of them gets its share and no
 * more, and what says nothing is cut, so that agents and operators still get in. Figures are common practice, no source.
 */
export const CONNECTION_LIMITS = {
  /** All connections together. */
  most: 4096,
  /** Of one address; several agents and consoles may share one. */
  mostOfOneAddress: 1024,
  /** The head of a request must be here. */
  headWithinMs: 10_000,
  /** All of a request must be here. */
  requestWithinMs: 30_000,
  /** A TLS handshake must be done. */
  handshakeWithinMs: 10_000,
  /** How often the above is looked at. */
  lookEveryMs: 1000,
  /** WebSockets that have not said hello. */
  mostStrangers: 512,
  /** What a WebSocket may send before its hello is accepted; a hello is about 2 kB. */
  strangerBytes: 65_536,
  /** Unread by the other side: it has stopped reading, or never did. */
  unreadBytes: 16_777_216,
  /** Agents at the same time. */
  mostAgents: 1000,
} as const;

/** Counts connections by address and drops those above the limits at once. */
export function limitConnections(server: Server): void {
  const byAddress = new Map<string, number>();
  server.maxConnections = CONNECTION_LIMITS.most;
  server.on("connection", (socket: Socket) => {
    const address = socket.remoteAddress ?? "";
    const present = (byAddress.get(address) ?? 0) + 1;
    byAddress.set(address, present);
    socket.once("close", () => {
      const left = (byAddress.get(address) ?? 1) - 1;
      if (left === 0) byAddress.delete(address);
      else byAddress.set(address, left);
    });
    if (present > CONNECTION_LIMITS.mostOfOneAddress) socket.destroy();
  });
}

/** A server, with TLS where it has an identity, that cuts what is slow, half open or too many. */
export function makeServer(identity: TlsIdentity | null, handler: http.RequestListener): http.Server {
  const patience = {
    headersTimeout: CONNECTION_LIMITS.headWithinMs,
    requestTimeout: CONNECTION_LIMITS.requestWithinMs,
    connectionsCheckingInterval: CONNECTION_LIMITS.lookEveryMs,
  };
  const server =
    identity === null
      ? http.createServer(patience, handler)
      : https.createServer(
          {
            ...patience,
            cert: identity.certificate,
            key: identity.key,
            minVersion: "TLSv1.2",
            handshakeTimeout: CONNECTION_LIMITS.handshakeWithinMs,
          },
          handler,
        );
  limitConnections(server);
  return server;
}
