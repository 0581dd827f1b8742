import { addressOf, lastErrno, libc } from "./libc.ts";

const MMSGHDR_BYTES = 64; // struct mmsghdr (linux/socket.h): msghdr of 56 bytes, then the 32-bit count and padding
const IOVEC_BYTES = 16; // struct iovec (linux/uio.h)

/**
 * Packets of one stream, ready to go: `capacity` slots with a head of their own that is stamped per packet, and one
 * tail that all share. Laid out once; sending writes nothing but the heads.
 */
export class SendBlock {
  readonly capacity: number;
  readonly headBytes: number;
  /** Slot i's head stands at i * headBytes. */
  readonly heads: DataView;
  readonly headsBytes: Uint8Array;
  readonly #messages: ArrayBuffer;
  readonly #messagesAddress: bigint;
  readonly #iovecs: ArrayBuffer;
  readonly #tail: ArrayBuffer;
  readonly #sendmmsg = libc().sendmmsg;
  /** Of the last `send` that took nothing; else 0. */
  errno = 0;

  /** @param packet one whole packet; its first `headBytes` become every slot's head, the rest the tail */
  constructor(capacity: number, packet: Uint8Array, headBytes: number) {
    this.capacity = capacity;
    this.headBytes = headBytes;
    const heads = new ArrayBuffer(capacity * headBytes);
    this.heads = new DataView(heads);
    this.headsBytes = new Uint8Array(heads);
    this.#tail = new ArrayBuffer(Math.max(1, packet.length - headBytes));
    new Uint8Array(this.#tail).set(packet.subarray(headBytes));
    this.#iovecs = new ArrayBuffer(capacity * 2 * IOVEC_BYTES);
    this.#messages = new ArrayBuffer(capacity * MMSGHDR_BYTES);
    this.#messagesAddress = addressOf(this.#messages);
    const iovecs = new DataView(this.#iovecs);
    const messages = new DataView(this.#messages);
    for (let i = 0; i < capacity; i++) {
      this.headsBytes.set(packet.subarray(0, headBytes), i * headBytes);
      const iovecAt = i * 2 * IOVEC_BYTES;
      iovecs.setBigUint64(iovecAt, addressOf(heads) + BigInt(i * headBytes), true);
      iovecs.setBigUint64(iovecAt + 8, BigInt(headBytes), true);
      iovecs.setBigUint64(iovecAt + 16, addressOf(this.#tail), true);
      iovecs.setBigUint64(iovecAt + 24, BigInt(packet.length - headBytes), true);
      messages.setBigUint64(i * MMSGHDR_BYTES + 16, addressOf(this.#iovecs) + BigInt(iovecAt), true); // msg_iov
      messages.setBigUint64(i * MMSGHDR_BYTES + 24, 2n, true); // msg_iovlen
    }
  }

  /**
   * Hot path: hands slots `from` to `from + count - 1` to the kernel on a connected socket.
   * @returns how many it took, from the first on; 0 with `errno` set when it took none
   */
  send(fd: number, from: number, count: number): number {
    const at = from === 0 ? this.#messagesAddress : this.#messagesAddress + BigInt(from * MMSGHDR_BYTES);
    const taken = this.#sendmmsg(fd, at, count, 0);
    if (taken >= 0) {
      this.errno = 0;
      return taken;
    }
    this.errno = lastErrno();
    return 0;
  }
}
