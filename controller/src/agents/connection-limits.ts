import type { RequestListener, Server } from "node:http";
import https from "node:https";
import type { Socket } from "node:net";
import { http } from "@dyetrace/pin";
import { networkOfAddress } from "../access/network-of.ts";
import type { TlsIdentity } from "../access/tls-identity.ts";
import { FairRoom } from "./fair-room.ts";

/**
 * Limits on connections before anyone has proved who they are. A host that opens thousands of them gets its share and no
 * more, and what says nothing is cut, so that agents and operators still get in. Figures are common practice, no source.
 */
export const CONNECTION_LIMITS = {
  /** All connections together. */
  most: 4096,
  /** Those that the kernel keeps until they are taken; net.core.somaxconn is 4096 as well. Of more it drops some, and they come late. */
  waiting: 4096,
  /** Those that have proved nothing yet: neither an agent's hello nor an operator's session. */
  mostStrangers: 2048,
  /** Strangers of one address, or of one /64; several agents and consoles may share one. */
  mostOfOneAddress: 1024,
  /** Connections that have shown an operator's session. */
  mostOfOperators: 512,
  /** The head of a request must be here. */
  headWithinMs: 10_000,
  /** All of a request must be here. */
  requestWithinMs: 30_000,
  /** A TLS handshake must be done. */
  handshakeWithinMs: 10_000,
  /** How often the above is looked at. */
  lookEveryMs: 1000,
  /** WebSockets that have not said hello. */
  mostStrangeSockets: 512,
  /** What a WebSocket may send before its hello is accepted; a hello is about 2 kB. */
  strangerBytes: 65_536,
  /** Unread by the other side: it has stopped reading, or never did. */
  unreadBytes: 16_777_216,
  /** Agents at the same time. */
  mostAgents: 1000,
} as const;

/** What a connection is known by on its server, with TLS or without. */
const keyOf = ({ remoteAddress, remotePort }: Socket): string => `${remoteAddress} ${remotePort}`;

/** Whose room among strangers it takes. */
export const shareOf = ({ remoteAddress }: Socket): string => networkOfAddress(remoteAddress ?? "");

/**
 * Who is connected to one server. Strangers share a room of their own, and so do operators; agents have one each. So nobody
 * who has proved nothing can keep out those who have, and a stranger that comes from elsewhere can always prove itself.
 */
export class ConnectionLedger {
  readonly #strangers = new FairRoom(CONNECTION_LIMITS.mostStrangers);
  readonly #operators = new FairRoom(CONNECTION_LIMITS.mostOfOperators);
  readonly #cuts = new Map<string, () => void>();
  readonly #onDropped: () => void;

  /** @param onDropped told of each one that had to go for the limits' sake */
  constructor(onDropped: () => void = () => undefined) {
    this.#onDropped = onDropped;
  }

  /** A connection that has proved nothing yet. */
  enter(socket: Socket): void {
    const [key, share] = [keyOf(socket), shareOf(socket)];
    const cut = (): void => {
      this.#onDropped();
      socket.destroy();
    };
    if (this.#strangers.presentOf(share) >= CONNECTION_LIMITS.mostOfOneAddress) {
      cut();
      return;
    }
    this.#cuts.set(key, cut);
    socket.once("close", () => {
      this.#cuts.delete(key);
      this.#strangers.leave(key, share);
    });
    this.#strangers.enter(key, share, cut);
  }

  /** It was admitted as an agent: how many there may be is for whoever admits them. */
  knowAgent(socket: Socket): void {
    this.#strangers.leave(keyOf(socket), shareOf(socket));
  }

  /** It has shown a session of this operator, with one request or another. */
  knowOperator(socket: Socket, name: string): void {
    const key = keyOf(socket);
    const cut = this.#cuts.get(key);
    if (cut === undefined) return;
    this.#strangers.leave(key, shareOf(socket));
    this.#operators.enter(key, name, cut);
    socket.once("close", () => this.#operators.leave(key, name));
    this.#cuts.delete(key); // no need to be known twice
  }
}

/** A server, with TLS where it has an identity, that cuts what is slow, half open or too many. */
export function makeServer(identity: TlsIdentity | null, handler: RequestListener, ledger: ConnectionLedger): Server {
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
  server.maxConnections = CONNECTION_LIMITS.most;
  server.on("connection", (socket: Socket) => ledger.enter(socket));
  return server;
}
