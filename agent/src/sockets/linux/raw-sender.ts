import { checked, libc } from "./libc.ts";
import { closeSocket } from "./socket.ts";

const AF_PACKET = 17; // linux/socket.h
const SOCK_RAW = 3; // linux/net.h, as the next
const SOCK_CLOEXEC = 0o2000000;

/** Sends whole Ethernet frames out of one interface, and takes none in. */
export class RawSender {
  readonly #fd: number;

  /** @throws {SystemCallError} EPERM without CAP_NET_RAW, ENODEV when the interface has gone */
  constructor(interfaceIndex: number) {
    // Protocol 0, here and in bind: nothing is received (packet(7)).
    this.#fd = checked("socket(AF_PACKET)", libc().socket(AF_PACKET, SOCK_RAW | SOCK_CLOEXEC, 0));
    const address = new ArrayBuffer(20); // struct sockaddr_ll: family, protocol in network order, interface
    const view = new DataView(address);
    view.setUint16(0, AF_PACKET, true);
    view.setInt32(4, interfaceIndex, true);
    try {
      checked("bind(AF_PACKET)", libc().bind(this.#fd, address, 20));
    } catch (cause) {
      closeSocket(this.#fd);
      throw cause;
    }
  }

  /** @throws {SystemCallError} ENETDOWN while the interface is down */
  send(frame: Uint8Array): void {
    const copy = new ArrayBuffer(frame.length);
    new Uint8Array(copy).set(frame);
    checked("send(AF_PACKET)", libc().send(this.#fd, copy, frame.length, 0));
  }

  close(): void {
    closeSocket(this.#fd);
  }
}
