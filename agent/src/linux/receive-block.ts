import { addressOf, lastErrno, libc } from "./libc.ts";
import { SOCKET_ADDRESS_BYTES } from "./socket-address.ts";

const MMSGHDR_BYTES = 64; // struct mmsghdr (linux/socket.h)
const IOVEC_BYTES = 16; // struct iovec (linux/uio.h)
const NAME_BYTES = 32; // a socket address, rounded up
const CONTROL_BYTES = 256; // what the options of `setListenOptions` need is 32 + 24 + 40 + 24 + 24
const MSG_TRUNC = 0x20; // linux/socket.h
const MSG_DONTWAIT = 0x40; // linux/socket.h
const EAGAIN = 11; // asm-generic/errno-base.h

// cmsghdr (linux/socket.h): 64-bit length, 32-bit level, 32-bit type, then data; the next starts at a multiple of 8.
const CMSG_DATA_AT = 16;
const SOL_SOCKET = 1;
const SO_TIMESTAMPNS = 35;
const SO_RXQ_OVFL = 40;
const IPPROTO_IP = 0;
const IP_TOS = 1;
const IP_TTL = 2;
const IP_PKTINFO = 8;
const IPPROTO_IPV6 = 41;
const IPV6_PKTINFO = 50;
const IPV6_HOPLIMIT = 52;
const IPV6_TCLASS = 67;

/**
 * Room for one `recvmmsg`. Only the first `slotBytes` of each packet are copied; its true length is known all the same
 * (MSG_TRUNC), and the kernel checks the checksum over the whole packet either way. `read` decodes what the kernel
 * told beside packet i into the fields below; -1 is "not told".
 */
export class ReceiveBlock {
  readonly capacity: number;
  readonly slotBytes: number;
  /** Packet i stands at i * slotBytes. */
  readonly frame: DataView;
  readonly bytes: Uint8Array;
  readonly names: DataView;
  lengthBytes = 0;
  /** Kernel's arrival time on the wall clock; -1 when it gave none. */
  arrivalSeconds = -1;
  arrivalNanoseconds = 0;
  ttl = -1;
  tos = -1;
  interfaceIndex = -1;
  /** Where in `control` the destination address stands: 4 or 16 bytes. -1 when not told. */
  destinationAt = -1;
  /** Drops of this socket when this packet was queued, since it was opened; 0 when none was told. */
  drops = 0;
  errno = 0;
  readonly control: DataView;
  readonly #messages: ArrayBuffer;
  readonly #messagesAddress: bigint;
  readonly #messagesView: DataView;
  readonly #iovecs: ArrayBuffer;
  readonly #recvmmsg = libc().recvmmsg;
  #used: number;

  constructor(capacity: number, slotBytes: number) {
    this.capacity = capacity;
    this.slotBytes = slotBytes;
    const frame = new ArrayBuffer(capacity * slotBytes);
    const names = new ArrayBuffer(capacity * NAME_BYTES);
    const control = new ArrayBuffer(capacity * CONTROL_BYTES);
    this.frame = new DataView(frame);
    this.bytes = new Uint8Array(frame);
    this.names = new DataView(names);
    this.control = new DataView(control);
    this.#iovecs = new ArrayBuffer(capacity * IOVEC_BYTES);
    this.#messages = new ArrayBuffer(capacity * MMSGHDR_BYTES);
    this.#messagesAddress = addressOf(this.#messages);
    this.#messagesView = new DataView(this.#messages);
    const iovecs = new DataView(this.#iovecs);
    for (let i = 0; i < capacity; i++) {
      const at = i * MMSGHDR_BYTES;
      iovecs.setBigUint64(i * IOVEC_BYTES, addressOf(frame) + BigInt(i * slotBytes), true);
      iovecs.setBigUint64(i * IOVEC_BYTES + 8, BigInt(slotBytes), true);
      this.#messagesView.setBigUint64(at, addressOf(names) + BigInt(i * NAME_BYTES), true); // msg_name
      this.#messagesView.setBigUint64(at + 16, addressOf(this.#iovecs) + BigInt(i * IOVEC_BYTES), true); // msg_iov
      this.#messagesView.setBigUint64(at + 24, 1n, true); // msg_iovlen
      this.#messagesView.setBigUint64(at + 32, addressOf(control) + BigInt(i * CONTROL_BYTES), true); // msg_control
    }
    this.#used = capacity;
  }

  /**
   * Hot path: takes what has arrived, without waiting.
   * @returns packets taken, 0 when none waits; -1 with `errno` set on any other answer
   */
  receive(fd: number): number {
    for (let i = 0; i < this.#used; i++) {
      this.#messagesView.setUint32(i * MMSGHDR_BYTES + 8, SOCKET_ADDRESS_BYTES, true); // msg_namelen
      this.#messagesView.setUint32(i * MMSGHDR_BYTES + 40, CONTROL_BYTES, true); // msg_controllen, low half
    }
    const taken = this.#recvmmsg(fd, this.#messagesAddress, this.capacity, MSG_DONTWAIT | MSG_TRUNC, null);
    this.#used = Math.max(taken, 0);
    if (taken >= 0) return taken;
    this.errno = lastErrno();
    return this.errno === EAGAIN ? 0 : -1;
  }

  /** Hot path: decodes what the kernel told about packet `i`. */
  read(i: number): void {
    this.lengthBytes = this.#messagesView.getUint32(i * MMSGHDR_BYTES + 56, true);
    this.arrivalSeconds = -1;
    this.ttl = -1;
    this.tos = -1;
    this.interfaceIndex = -1;
    this.destinationAt = -1;
    this.drops = 0;
    const view = this.control;
    let at = i * CONTROL_BYTES;
    const end = at + this.#messagesView.getUint32(i * MMSGHDR_BYTES + 40, true);
    while (at + CMSG_DATA_AT <= end) {
      const length = view.getUint32(at, true);
      if (length < CMSG_DATA_AT) return;
      this.#take(view.getUint32(at + 8, true), view.getUint32(at + 12, true), at + CMSG_DATA_AT);
      at += (length + 7) & ~7;
    }
  }

  #take(level: number, type: number, at: number): void {
    const view = this.control;
    if (level === SOL_SOCKET) {
      if (type === SO_TIMESTAMPNS) {
        this.arrivalSeconds = view.getUint32(at, true);
        this.arrivalNanoseconds = view.getUint32(at + 8, true);
      } else if (type === SO_RXQ_OVFL) this.drops = view.getUint32(at, true);
    } else if (level === IPPROTO_IP) {
      if (type === IP_TTL) this.ttl = view.getInt32(at, true);
      else if (type === IP_TOS) this.tos = view.getUint8(at);
      else if (type === IP_PKTINFO) {
        this.interfaceIndex = view.getInt32(at, true);
        this.destinationAt = at + 8;
      }
    } else if (level === IPPROTO_IPV6) {
      if (type === IPV6_HOPLIMIT) this.ttl = view.getInt32(at, true);
      else if (type === IPV6_TCLASS) this.tos = view.getInt32(at, true);
      else if (type === IPV6_PKTINFO) {
        this.destinationAt = at;
        this.interfaceIndex = view.getInt32(at + 16, true);
      }
    }
  }

  /** Where packet `i`'s sender stands in `names`. */
  nameAt(i: number): number {
    return i * NAME_BYTES;
  }
}
