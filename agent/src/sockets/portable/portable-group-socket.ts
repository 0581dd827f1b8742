import { createSocket, type RemoteInfo, type Socket } from "node:dgram";
import { once } from "node:events";
import type { IpAddress } from "@dyetrace/wire";
import { formatIpAddress, isMulticast } from "@dyetrace/wire/ip-address";
import { ForeignRecord } from "../foreign-record.ts";
import type { GroupSocket } from "../group-socket.ts";
import type { ListenedStream } from "../listened-stream.ts";
import type { PacketSink } from "../packet-sink.ts";
import { type InterfaceSetup, multicastInterface } from "./multicast-interface.ts";

const RECEIVE_BUFFER_BYTES = 4 << 20;

/**
 * A listener's socket of the run-time's own: no kernel times, no TTL, no DSCP, no drop counter, and no way to tell for
 * which group or interface a packet came. All of that is reported as unknown.
 */
export class PortableGroupSocket implements GroupSocket {
  readonly streams: readonly ListenedStream[];
  readonly foreign: ForeignRecord = new ForeignRecord();
  readonly #socket: Socket;
  readonly #group: string;
  readonly #source: string | null;
  readonly #interface: string;
  /** False for a companion, which comes to the host's own address. */
  readonly #isJoinable: boolean;

  private constructor(
    socket: Socket,
    group: string,
    source: string | null,
    interfaceText: string,
    isJoinable: boolean,
    streams: readonly ListenedStream[],
  ) {
    this.#socket = socket;
    this.#isJoinable = isJoinable;
    this.#group = group;
    this.#source = source;
    this.#interface = interfaceText;
    this.streams = streams;
  }

  /** @param clock the time since the run's start, ns @throws {Error} what the host answered */
  static async open(
    setup: InterfaceSetup,
    sink: PacketSink,
    clock: () => number,
    group: IpAddress,
    port: number,
    source: IpAddress | null,
    streams: readonly ListenedStream[],
  ): Promise<PortableGroupSocket> {
    const groupText = formatIpAddress(group.bytes);
    const interfaceText = multicastInterface(groupText, setup);
    const type = group.family === 4 ? "udp4" : "udp6";
    const socket = createSocket({ type, reuseAddr: true, recvBufferSize: RECEIVE_BUFFER_BYTES });
    try {
      // Windows cannot bind to a group; elsewhere the bind keeps other groups of the port away.
      if (process.platform === "win32") socket.bind({ port, exclusive: true });
      else socket.bind({ port, address: groupText, exclusive: true });
      await once(socket, "listening");
    } catch (cause) {
      socket.close();
      throw cause;
    }
    const sourceText = source === null ? null : formatIpAddress(source.bytes);
    const opened = new PortableGroupSocket(socket, groupText, sourceText, interfaceText, isMulticast(group), streams);
    socket.on("error", () => undefined);
    socket.on("message", (message: Buffer, from: RemoteInfo) => {
      const frame = new DataView(message.buffer, message.byteOffset, message.length);
      sink.take(opened, frame, message, 0, message.length, clock(), -1, -1, true, () => from.address);
    });
    return opened;
  }

  join(): void {
    if (!this.#isJoinable) return;
    if (this.#source === null) this.#socket.addMembership(this.#group, this.#interface);
    else this.#socket.addSourceSpecificMembership(this.#source, this.#group, this.#interface);
  }

  leave(): void {
    if (!this.#isJoinable) return;
    if (this.#source === null) this.#socket.dropMembership(this.#group, this.#interface);
    else this.#socket.dropSourceSpecificMembership(this.#source, this.#group, this.#interface);
  }

  drain(): void {
    // What the run-time has not handed over yet cannot be asked for.
  }

  drops(): null {
    return null;
  }

  close(): void {
    this.#socket.close();
  }
}
