import { addressOf, lastErrno, libc } from "./libc.ts";
import { SOCKET_ADDRESS_BYTES } from "./socket-address.ts";

const MMSGHDR_BYTES = 64; // struct mmsghdr (linux/socket.h)
const MMSGHDR_WORDS = MMSGHDR_BYTES / 4;
const IOVEC_BYTES = 16; // struct iovec (linux/uio.h)
const NAME_BYTES = 32; // a socket address, rounded up
const CONTROL_BYTES = 256; // what the options of `setListenOptions` need is 32 + 24 + 40 + 24 + 24
const CONTROL_WORDS = CONTROL_BYTES / 4;
const MSG_TRUNC = 0x20; // linux/socket.h
const MSG_DONTWAIT = 0x40; // linux/socket.h
const EAGAIN = 11; // asm-generic/errno-base.h

// cmsghdr (linux/socket.h): 64-bit length, 32-bit level, 32-bit type, then data; the next starts at a multiple of 8.
const CMSG_DATA_WORDS = 4;
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
  readonly #messageWords: Uint32Array;
  readonly #controlWords: Uint32Array;
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
    this.#messageWords = new Uint32Array(this.#messages);
    this.#controlWords = new Uint32Array(control);
    const messages = new DataView(this.#messages);
    const iovecs = new DataView(this.#iovecs);
    for (let i = 0; i < capacity; i++) {
      const at = i * MMSGHDR_BYTES;
      iovecs.setBigUint64(i * IOVEC_BYTES, addressOf(frame) + BigInt(i * slotBytes), true);
      iovecs.setBigUint64(i * IOVEC_BYTES + 8, BigInt(slotBytes), true);
      messages.setBigUint64(at, addressOf(names) + BigInt(i * NAME_BYTES), true); // msg_name
      messages.setBigUint64(at + 16, addressOf(this.#iovecs) + BigInt(i * IOVEC_BYTES), true); // msg_iov
      messages.setBigUint64(at + 24, 1n, true); // msg_iovlen
      messages.setBigUint64(at + 32, addressOf(control) + BigInt(i * CONTROL_BYTES), true); // msg_control
    }
    this.#used = capacity;
  }

  /**
   * Hot path: takes what has arrived, without waiting.
   * @returns packets taken, 0 when none waits; -1 with `errno` set on any other answer
   */
  receive(fd: number): number {
    const messages = this.#messageWords;
    for (let i = 0; i < this.#used; i++) {
      messages[i * MMSGHDR_WORDS + 2] = SOCKET_ADDRESS_BYTES; // msg_namelen
      messages[i * MMSGHDR_WORDS + 10] = CONTROL_BYTES; // msg_controllen, low half
    }
    const taken = this.#recvmmsg(fd, this.#messagesAddress, this.capacity, MSG_DONTWAIT | MSG_TRUNC, null);
    this.#used = Math.max(taken, 0);
    if (taken >= 0) return taken;
    this.errno = lastErrno();
    return this.errno === EAGAIN ? 0 : -1;
  }

  /** Hot path: decodes what the kernel told about packet `i`. */
  read(i: number): void {
    const messages = this.#messageWords;
    const words = this.#controlWords;
    this.lengthBytes = messages[i * MMSGHDR_WORDS + 14] as number; // msg_len
    this.arrivalSeconds = -1;
    this.ttl = -1;
    this.tos = -1;
    this.interfaceIndex = -1;
    this.destinationAt = -1;
    this.drops = 0;
    let at = i * CONTROL_WORDS;
    const end = at + ((messages[i * MMSGHDR_WORDS + 10] as number) >>> 2);
    while (at + CMSG_DATA_WORDS <= end) {
      const length = words[at] as number;
      if (length < CMSG_DATA_WORDS * 4) return;
      this.#take(words[at + 2] as number, words[at + 3] as number, at + CMSG_DATA_WORDS);
      at += ((length + 7) & ~7) >>> 2;
    }
  }

  /** @param at word at which the data of a control message begin */
  #take(level: number, type: number, at: number): void {
    const words = this.#controlWords;
    const first = words[at] as number;
    if (level === SOL_SOCKET) {
      if (type === SO_TIMESTAMPNS) {
        this.arrivalSeconds = first;
        this.arrivalNanoseconds = words[at + 2] as number;
      } else if (type === SO_RXQ_OVFL) this.drops = first;
    } else if (level === IPPROTO_IP) {
      if (type === IP_TTL) this.ttl = first;
      else if (type === IP_TOS)
        this.tos = first & 0xff; // one byte, the first of the word
      else if (type === IP_PKTINFO) {
        this.interfaceIndex = first;
        this.destinationAt = (at + 2) * 4;
      }
    } else if (level === IPPROTO_IPV6) {
      if (type === IPV6_HOPLIMIT) this.ttl = first;
      else if (type === IPV6_TCLASS) this.tos = first;
      else if (type === IPV6_PKTINFO) {
        this.destinationAt = at * 4;
        this.interfaceIndex = words[at + 4] as number;
      }
    }
  }

  /** Where packet `i`'s sender stands in `names`. */
  nameAt(i: number): number {
    return i * NAME_BYTES;
  }
}
