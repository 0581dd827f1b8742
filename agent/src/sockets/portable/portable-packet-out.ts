import { createSocket, type Socket } from "node:dgram";
import { once } from "node:events";
import type { TaskStream } from "@dyetrace/wire";
import { Fault } from "@dyetrace/wire/fault";
import type { PacketOut, SendRefusal } from "../packet-out.ts";
import { sendRefused } from "../send-refused.ts";
import { type InterfaceSetup, multicastInterface } from "./multicast-interface.ts";

/**
 * A source's socket of the run-time's own. It answers each send later, so only one packet is on its way at a time: a
 * number is used only by a packet that was taken, here as everywhere.
 */
export class PortablePacketOut implements PacketOut {
  readonly capacity = 1;
  readonly headBytes: number;
  readonly refusal: SendRefusal = "pending";
  readonly errorName = "";
  onSettled: PacketOut["onSettled"] = null;
  heads: DataView;
  headsBytes: Uint8Array;
  readonly #socket: Socket;
  readonly #onAnswer: () => void;
  #isClosed = false;

  private constructor(socket: Socket, headBytes: number, onAnswer: () => void) {
    this.#socket = socket;
    this.#onAnswer = onAnswer;
    this.headBytes = headBytes;
    this.headsBytes = new Uint8Array(headBytes);
    this.heads = new DataView(this.headsBytes.buffer);
  }

  /** @param onAnswer called after each send was answered and settled @throws {Fault} AGENT_CANNOT, SEND_REFUSED */
  static async open(
    stream: TaskStream,
    setup: InterfaceSetup,
    headBytes: number,
    onAnswer: () => void,
  ): Promise<PortablePacketOut> {
    if (stream.dscp !== 0) {
      throw new Fault(
        "AGENT_CANNOT",
        `Cannot send ${stream.name} with DSCP ${stream.dscp}: portable sockets cannot mark packets`,
        "Send best effort, or from a Linux host.",
      );
    }
    const socket = createSocket(stream.group.includes(":") ? "udp6" : "udp4");
    try {
      socket.bind(0);
      await once(socket, "listening");
      socket.setMulticastInterface(multicastInterface(stream.group, setup));
      socket.setMulticastTTL(stream.ttl);
      socket.setTTL(stream.ttl); // of a companion
      socket.setMulticastLoopback(true);
      socket.connect(stream.port, stream.group);
      await once(socket, "connect");
    } catch (cause) {
      socket.close();
      const why = cause instanceof Error && "code" in cause ? String(cause.code) : String(cause);
      throw sendRefused(stream, setup.interfaceName, why, cause);
    }
    socket.on("error", () => undefined); // each send's own answer tells
    return new PortablePacketOut(socket, headBytes, onAnswer);
  }

  lay(packet: Uint8Array): void {
    const own = Uint8Array.from(packet);
    this.headsBytes = own;
    this.heads = new DataView(own.buffer);
  }

  send(): number {
    this.#socket.send(this.headsBytes, (error) => {
      if (this.#isClosed) return;
      this.onSettled?.(error === null ? null : ((error as NodeJS.ErrnoException).code ?? error.message));
      this.#onAnswer();
    });
    return 0;
  }

  close(): void {
    if (this.#isClosed) return;
    this.#isClosed = true;
    this.#socket.close();
  }
}
