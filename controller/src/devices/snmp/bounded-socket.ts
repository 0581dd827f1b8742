import { createSocket, type RemoteInfo, type Socket } from "node:dgram";
import { EventEmitter } from "node:events";
import type { ReadingBounds } from "./reading-bounds.ts";

/** Whoever gets it closes it. */
export type OpenSocket = () => Promise<Socket>;

type Sent = (error: Error | null, bytes: number) => void;

interface Queued {
  readonly bytes: Buffer;
  readonly sent: Sent;
}

/**
 * The socket that the library is given in place of its own, which takes datagrams from anybody, sends as fast as it is answered, and
 * ends the program where a message makes it throw (a message of version 3 to a session of version 2c, seen). This one hears one
 * address alone, sends at a bounded rate, and takes no more than is agreed.
 */
export class BoundedSocket extends EventEmitter {
  readonly #bounds: ReadingBounds;
  readonly #ready: Promise<Socket>;
  readonly #queue: Queued[] = [];
  #timer: NodeJS.Timeout | undefined;
  #nextAtMs = 0;
  #datagrams = 0;
  #bytes = 0;
  #unreadable = 0;
  #isClosed = false;
  #trouble: string | null = null;

  /** @param open a socket that nobody else uses; by default one of this machine's own */
  constructor(
    type: "udp4" | "udp6",
    place: { readonly address: string; readonly port: number },
    bounds: ReadingBounds,
    open: OpenSocket = () => Promise.resolve(createSocket(type)),
  ) {
    super();
    this.#bounds = bounds;
    this.#ready = open().then((socket) => this.#connect(socket, place));
    this.#ready.catch((error: NodeJS.ErrnoException) => this.#give(refusalOf(error)));
  }

  /** Why nothing more is to be had of it, as the end of a sentence; null: there may be. */
  get trouble(): string | null {
    return this.#trouble;
  }

  /** Datagrams that came. */
  get datagrams(): number {
    return this.#datagrams;
  }

  /** Datagrams that were no SNMP. */
  get unreadable(): number {
    return this.#unreadable;
  }

  noteUnreadable(): void {
    this.#unreadable++;
  }

  send(bytes: Buffer, offset: number, length: number, _port: number, _address: string, sent: Sent): void {
    this.#queue.push({ bytes: bytes.subarray(offset, offset + length), sent });
    this.#sendNext();
  }

  close(): void {
    if (this.#isClosed) return;
    this.#isClosed = true;
    clearTimeout(this.#timer);
    this.#queue.length = 0;
    this.#ready.then(
      (socket) => socket.close(() => this.emit("close")),
      () => this.emit("close"),
    );
  }

  ref(): void {}
  unref(): void {}

  /** From now on the kernel hands over what comes from there alone. */
  #connect(socket: Socket, { address, port }: { readonly address: string; readonly port: number }): Promise<Socket> {
    return new Promise((resolve, reject) => {
      const fail = (error: Error): void => {
        socket.close();
        reject(error);
      };
      socket.once("error", fail);
      socket.connect(port, address, () => {
        socket.off("error", fail);
        socket.on("error", (error: NodeJS.ErrnoException) => this.#give(refusalOf(error)));
        socket.on("message", (bytes, from) => this.#take(bytes, from));
        resolve(socket);
      });
    });
  }

  #sendNext(): void {
    if (this.#timer !== undefined || this.#queue.length === 0 || this.#isClosed) return;
    const waitMs = Math.max(0, this.#nextAtMs - performance.now());
    this.#timer = setTimeout(() => {
      this.#timer = undefined;
      this.#nextAtMs = performance.now() + this.#bounds.gapMs;
      const next = this.#queue.shift();
      if (next !== undefined) void this.#sendOne(next);
      this.#sendNext();
    }, waitMs);
  }

  async #sendOne({ bytes, sent }: Queued): Promise<void> {
    try {
      const socket = await this.#ready;
      if (!this.#isClosed) socket.send(bytes, (error, count) => sent(error, count));
    } catch (error) {
      sent(error as Error, 0);
    }
  }

  #take(bytes: Buffer, from: RemoteInfo): void {
    this.#datagrams++;
    this.#bytes += bytes.length;
    if (this.#datagrams > this.#bounds.mostDatagrams || this.#bytes > this.#bounds.mostBytes) {
      this.#give("it sends more than one reading may take");
      return;
    }
    try {
      this.emit("message", bytes, from);
    } catch {
      this.#unreadable++;
    }
  }

  #give(trouble: string): void {
    if (this.#trouble !== null) return;
    this.#trouble = trouble;
    this.emit("trouble");
  }
}

/** What the system says where nobody can have answered. */
function refusalOf({ code }: NodeJS.ErrnoException): string {
  switch (code) {
    case "ECONNREFUSED":
      return "nothing there takes SNMP (port unreachable)";
    case "EHOSTUNREACH":
    case "ENETUNREACH":
      return "there is no way to this address from here";
    default:
      return `the system said ${code ?? "nothing more"}`;
  }
}
