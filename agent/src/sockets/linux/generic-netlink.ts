import { decodeNetlink, type NetlinkAnswer } from "@dyetrace/wire/station/netlink-message";
import { checked, libc } from "./libc.ts";
import { closeSocket, SOL_SOCKET } from "./socket.ts";

const AF_NETLINK = 16; // linux/socket.h
const NETLINK_GENERIC = 16; // linux/netlink.h
const SOCK_RAW = 3;
const SOCK_CLOEXEC = 0o2000000;
const SO_RCVTIMEO = 20; // asm-generic/socket.h
/** The kernel answers within the call that asks; this is for one that does not. */
const TIMEOUT_US = 100_000;
/** What a dump of one interface needs, several times over. */
const ANSWER_BYTES = 32_768;
const MOST_DATAGRAMS = 64;

/** A connection to the kernel's generic netlink: one question at a time, answered while it is asked. */
export class GenericNetlink {
  readonly #fd: number;
  readonly #answer = new ArrayBuffer(ANSWER_BYTES);

  /** @throws {SystemCallError} */
  constructor() {
    this.#fd = checked("socket", libc().socket(AF_NETLINK, SOCK_RAW | SOCK_CLOEXEC, NETLINK_GENERIC));
    const timeout = new ArrayBuffer(16); // struct timeval
    new DataView(timeout).setBigInt64(8, BigInt(TIMEOUT_US), true);
    checked("setsockopt", libc().setsockopt(this.#fd, SOL_SOCKET, SO_RCVTIMEO, timeout, timeout.byteLength));
  }

  /**
   * @param sequence as the request bears it
   * @returns what the kernel says to it, to the end of a dump; empty where it says nothing
   * @throws {SystemCallError}
   */
  ask(request: ArrayBuffer, sequence: number): NetlinkAnswer[] {
    checked("send", libc().send(this.#fd, request, request.byteLength, 0));
    const answers: NetlinkAnswer[] = [];
    for (let datagram = 0; datagram < MOST_DATAGRAMS; datagram++) {
      const length = libc().recv(this.#fd, this.#answer, ANSWER_BYTES, 0);
      if (length <= 0) return answers;
      // What a question before left behind is not for this one.
      const own = decodeNetlink(new Uint8Array(this.#answer.slice(0, length))).filter(
        (one) => one.sequence === sequence,
      );
      answers.push(...own);
      if (own.some((one) => one.kind !== "message" || !one.isMulti)) return answers;
    }
    return answers;
  }

  close(): void {
    closeSocket(this.#fd);
  }
}
