import type { IpAddress } from "@dyetrace/wire";
import type { PacketOut, SendRefusal } from "../packet-out.ts";
import { errnoName } from "./libc.ts";
import { type SendOptions, setSendOptions } from "./multicast-options.ts";
import { SendBlock } from "./send-block.ts";
import { closeSocket, connectSocket, openUdpSocket, raiseSendBuffer } from "./socket.ts";

const EAGAIN = 11; // asm-generic/errno-base.h
const ENOBUFS = 105; // asm-generic/errno.h
const SEND_BUFFER_BYTES = 1 << 20;

/** One connected UDP socket per stream: the kernel looks the route up once, and TTL and DSCP are the socket's own. */
export class LinuxPacketOut implements PacketOut {
  readonly headBytes: number;
  onSettled: PacketOut["onSettled"] = null; // never called: the kernel answers at once
  readonly #fd: number;
  #block: SendBlock;

  /** Opens and connects; nothing is sent. @throws {SystemCallError} */
  constructor(group: IpAddress, port: number, options: SendOptions, headBytes: number) {
    this.headBytes = headBytes;
    this.#block = new SendBlock(1, new Uint8Array(headBytes), headBytes);
    this.#fd = openUdpSocket(group);
    try {
      setSendOptions(this.#fd, group, options);
      raiseSendBuffer(this.#fd, SEND_BUFFER_BYTES);
      connectSocket(this.#fd, group, port, options.interfaceIndex);
    } catch (cause) {
      closeSocket(this.#fd);
      throw cause;
    }
  }

  get capacity(): number {
    return this.#block.capacity;
  }

  get heads(): DataView {
    return this.#block.heads;
  }

  get headsBytes(): Uint8Array {
    return this.#block.headsBytes;
  }

  lay(packet: Uint8Array, capacity: number): void {
    this.#block = new SendBlock(capacity, packet, this.headBytes);
  }

  send(from: number, count: number): number {
    return this.#block.send(this.#fd, from, count);
  }

  get refusal(): SendRefusal {
    return this.#block.errno === ENOBUFS ? "enobufs" : this.#block.errno === EAGAIN ? "eagain" : "other";
  }

  get errorName(): string {
    return errnoName(this.#block.errno);
  }

  close(): void {
    closeSocket(this.#fd);
  }
}
