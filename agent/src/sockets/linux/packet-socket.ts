import { addressOf, checked, libc } from "./libc.ts";
import { ReceiveBlock } from "./receive-block.ts";
import { closeSocket, raiseReceiveBuffer, SOL_SOCKET, setIntOption } from "./socket.ts";

const AF_PACKET = 17; // linux/socket.h
const SOCK_RAW = 3; // linux/net.h, as the next two
const SOCK_NONBLOCK = 0o4000;
const SOCK_CLOEXEC = 0o2000000;
const SO_ATTACH_FILTER = 26; // asm-generic/socket.h
const SO_TIMESTAMPNS = 35;
const SOL_PACKET = 263; // linux/socket.h
const PACKET_ADD_MEMBERSHIP = 1; // linux/if_packet.h, as all PACKET_ numbers here
const PACKET_STATISTICS = 6;
const PACKET_AUXDATA = 8;
const PACKET_MR_ALLMULTI = 2;
const ETH_P_ALL = 3; // linux/if_ether.h
const TP_STATUS_VLAN_VALID = 1 << 4;
/** The kernel doubles this and charges some 2.3 kB for a frame of 1500 B: room for 280 ms of 100 000 frames/s. */
const RECEIVE_BUFFER_BYTES = 32 << 20;
const BATCH_FRAMES = 64;
/** One jumbo frame: a report of hundreds of groups must come whole or its checksum says nothing. */
const SLOT_BYTES = 9234;
const CONTROL_BYTES = 256; // of one packet in a ReceiveBlock
const TIMESTAMP_BYTES = 32; // control message of SO_TIMESTAMPNS, which the kernel puts first
const NOT_TAGGED = -1;

/** Packet types of `sockaddr_ll` (linux/if_packet.h). */
export const PACKET_HOST = 0;
export const PACKET_OUTGOING = 4;

/** A socket that stands open: any thread of this process may go on with it. */
export interface OpenPacketSocket {
  readonly fd: number;
  readonly receiveBufferBytes: number;
  readonly hardwareType: number;
}

export interface PacketSocketOptions {
  /** The only one whose frames it is given, as linux/if_ether.h numbers them; all if absent. */
  readonly protocol?: number;
  readonly bufferBytes?: number;
  /** Goes on with this one, with what is queued in it and the filter that it has: nothing is opened. */
  readonly adopted?: OpenPacketSocket;
}

/**
 * Sees frames of one Ethernet interface as they pass the network card, whoever joined what. It opens the card's
 * multicast filter (PACKET_MR_ALLMULTI) without sending any membership report; closing it restores the card.
 */
export class PacketSocket {
  readonly fd: number;
  /** Frame i of the last `receive` stands at i * `slotBytes`. */
  readonly slotBytes: number = SLOT_BYTES;
  /** As the kernel counts it, overhead of each frame included. */
  readonly receiveBufferBytes: number;
  /** ARPHRD_ number of the interface (linux/if_arp.h). */
  readonly hardwareType: number;
  readonly #block = new ReceiveBlock(BATCH_FRAMES, SLOT_BYTES);
  /** Of the frame that `read` was called for. */
  packetType = 0;
  /** VLAN id of the tag that the kernel took off the frame; -1 without one or with a mere priority tag. */
  vlanId: number = NOT_TAGGED;

  /**
   * @param filter a program from `assembleBpf`, in force before the first frame can come in
   * @throws {SystemCallError} EPERM without CAP_NET_RAW, ENODEV when the interface has gone
   */
  constructor(
    interfaceIndex: number,
    filter: ArrayBuffer,
    { protocol = ETH_P_ALL, bufferBytes = RECEIVE_BUFFER_BYTES, adopted }: PacketSocketOptions = {},
  ) {
    if (adopted !== undefined) {
      this.fd = adopted.fd;
      this.receiveBufferBytes = adopted.receiveBufferBytes;
      this.hardwareType = adopted.hardwareType;
      return;
    }
    // protocol 0 takes in nothing until bind, so no frame slips past the filter (packet(7))
    this.fd = checked("socket(AF_PACKET)", libc().socket(AF_PACKET, SOCK_RAW | SOCK_NONBLOCK | SOCK_CLOEXEC, 0));
    try {
      this.attach(filter);
      this.receiveBufferBytes = raiseReceiveBuffer(this.fd, bufferBytes);
      setIntOption(this.fd, SOL_SOCKET, SO_TIMESTAMPNS, 1);
      setIntOption(this.fd, SOL_PACKET, PACKET_AUXDATA, 1);
      this.#openMulticastFilter(interfaceIndex);
      this.hardwareType = this.#bind(interfaceIndex, protocol);
    } catch (cause) {
      closeSocket(this.fd);
      throw cause;
    }
  }

  /** Replaces the filter; frames already queued stay. */
  attach(filter: ArrayBuffer): void {
    const program = new ArrayBuffer(16); // struct sock_fprog: count, padding, pointer
    const view = new DataView(program);
    view.setUint16(0, filter.byteLength / 8, true);
    view.setBigUint64(8, addressOf(filter), true);
    checked("setsockopt(SO_ATTACH_FILTER)", libc().setsockopt(this.fd, SOL_SOCKET, SO_ATTACH_FILTER, program, 16));
  }

  get bytes(): Uint8Array {
    return this.#block.bytes;
  }

  get frame(): DataView {
    return this.#block.frame;
  }

  get lengthBytes(): number {
    return Math.min(this.#block.lengthBytes, SLOT_BYTES);
  }

  /** Kernel's wall-clock time of the frame; -1 when it gave none. */
  get arrivalSeconds(): number {
    return this.#block.arrivalSeconds;
  }

  get arrivalNanoseconds(): number {
    return this.#block.arrivalNanoseconds;
  }

  get errno(): number {
    return this.#block.errno;
  }

  get capacity(): number {
    return BATCH_FRAMES;
  }

  /** Hot path: takes what has arrived, without waiting. @returns frames taken; -1 with `errno` set on an error */
  receive(): number {
    return this.#block.receive(this.fd);
  }

  /** Hot path: decodes what the kernel told beside frame `i` into the fields. */
  read(i: number): void {
    this.#block.read(i);
    this.packetType = this.#block.names.getUint8(this.#block.nameAt(i) + 10); // sll_pkttype
    // struct tpacket_auxdata follows the timestamp: status at 0, VLAN tag control information at 16
    const control = this.#block.control;
    const at = i * CONTROL_BYTES + (this.arrivalSeconds < 0 ? 0 : TIMESTAMP_BYTES);
    this.vlanId = NOT_TAGGED;
    if (control.getUint32(at + 8, true) !== SOL_PACKET || control.getUint32(at + 12, true) !== PACKET_AUXDATA) return;
    if ((control.getUint32(at + 16, true) & TP_STATUS_VLAN_VALID) === 0) return;
    this.vlanId = control.getUint16(at + 32, true) & 0x0fff || NOT_TAGGED;
  }

  /** Frames that found no room since the last call; the kernel's count starts anew each time. */
  takeDrops(): number {
    const statistics = new ArrayBuffer(8); // struct tpacket_stats: packets, drops
    const length = new ArrayBuffer(4);
    new DataView(length).setUint32(0, 8, true);
    checked(
      "getsockopt(PACKET_STATISTICS)",
      libc().getsockopt(this.fd, SOL_PACKET, PACKET_STATISTICS, statistics, length),
    );
    return new DataView(statistics).getUint32(4, true);
  }

  close(): void {
    closeSocket(this.fd);
  }

  #openMulticastFilter(interfaceIndex: number): void {
    const request = new ArrayBuffer(16); // struct packet_mreq: interface, type, address length, address
    const view = new DataView(request);
    view.setInt32(0, interfaceIndex, true);
    view.setUint16(4, PACKET_MR_ALLMULTI, true);
    checked(
      "setsockopt(PACKET_ADD_MEMBERSHIP)",
      libc().setsockopt(this.fd, SOL_PACKET, PACKET_ADD_MEMBERSHIP, request, 16),
    );
  }

  /** @returns the interface's hardware type */
  #bind(interfaceIndex: number, protocol: number): number {
    const address = new ArrayBuffer(20); // struct sockaddr_ll: family, protocol in network order, interface
    const view = new DataView(address);
    view.setUint16(0, AF_PACKET, true);
    view.setUint16(2, protocol);
    view.setInt32(4, interfaceIndex, true);
    checked("bind(AF_PACKET)", libc().bind(this.fd, address, 20));
    const length = new ArrayBuffer(4);
    new DataView(length).setUint32(0, 20, true);
    checked("getsockname(AF_PACKET)", libc().getsockname(this.fd, address, length));
    return view.getUint16(8, true); // sll_hatype
  }
}
