import { randomBytes } from "node:crypto";
import { connect, type Socket } from "node:net";
import { AGENT_LINK_PATH, CONTROL_PROTOCOL, DEFAULT_GUARDS } from "@dyetrace/wire";
import { WebSocket } from "ws";

/** Somebody at the agents' door who is no agent of ours, or a false one. */
export class Stranger {
  readonly socket: WebSocket;
  readonly heard: Record<string, unknown>[] = [];
  readonly #openedMs = performance.now();
  /** How long it was let stay, ms, and why it ended. */
  readonly closed: Promise<{ readonly afterMs: number; readonly code: number }>;

  constructor(url: string) {
    this.socket = new WebSocket(new URL(AGENT_LINK_PATH, url.replace(/^http/, "ws")), { perMessageDeflate: false });
    this.socket.on("message", (data) => this.heard.push(JSON.parse(String(data)) as Record<string, unknown>));
    this.socket.on("error", () => undefined);
    this.closed = new Promise((resolve) => {
      this.socket.once("close", (code) => resolve({ afterMs: performance.now() - this.#openedMs, code }));
    });
  }

  static async at(url: string): Promise<Stranger> {
    const stranger = new Stranger(url);
    await new Promise((resolve, reject) => {
      stranger.socket.once("open", resolve);
      stranger.socket.once("close", () => reject(new Error("It was not let in at all")));
    });
    return stranger;
  }

  say(message: unknown): void {
    this.socket.send(typeof message === "string" ? message : JSON.stringify(message));
  }

  /** Waits for a message of this kind. */
  async hears(kind: string, withinMs = 10_000): Promise<Record<string, unknown>> {
    const deadline = performance.now() + withinMs;
    for (;;) {
      const found = this.heard.find((message) => message["kind"] === kind);
      if (found !== undefined) return found;
      if (performance.now() > deadline) throw new Error(`No ${kind}, but ${JSON.stringify(this.heard.slice(-3))}`);
      await new Promise((resolve) => setTimeout(resolve, 20));
    }
  }
}

/** The upgrade by hand, so that what follows may be no WebSocket at all (RFC 6455 section 4.1). */
export async function rawUpgrade(url: string): Promise<Socket> {
  const { port } = new URL(url);
  const socket = connect(Number(port), "127.0.0.1");
  socket.on("error", () => undefined);
  const key = randomBytes(16).toString("base64");
  socket.write(
    `GET ${AGENT_LINK_PATH} HTTP/1.1\r\nHost: 127.0.0.1:${port}\r\nConnection: Upgrade\r\nUpgrade: websocket\r\nSec-WebSocket-Version: 13\r\nSec-WebSocket-Key: ${key}\r\n\r\n`,
  );
  await new Promise((resolve) => socket.once("data", resolve));
  return socket;
}

export const helloOf = (name: string, key: string, changes: object = {}): object => ({
  kind: "hello",
  protocol: CONTROL_PROTOCOL,
  oldestProtocol: CONTROL_PROTOCOL,
  version: "0.1.0",
  name,
  key,
  instance: randomBytes(8).toString("hex"),
  runId: null,
  capabilities: {
    sockets: "linux",
    platform: "linux",
    osRelease: "made up",
    architecture: "x64",
    nodeVersion: process.version,
    kernelTimestamps: true,
    hostLossCount: true,
    ttlSeen: true,
    dscpSeen: true,
    destinationSeen: true,
    ssm: true,
    ipv6: true,
    watcher: false,
    interface: {
      name: "eth0",
      index: 2,
      ipv4: "192.0.2.77",
      ipv6: [],
      mac: null,
      mtuBytes: 1500,
      speedBps: 1e9,
      isUp: true,
      isWireless: false,
    },
    receiveBufferBytes: 1_000_000,
    guards: { ...DEFAULT_GUARDS, allowSending: true },
  },
  ...changes,
});
