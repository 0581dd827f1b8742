import type { IpAddress } from "@dyetrace/wire";
import { isMulticast } from "@dyetrace/wire/ip-address";
import { ForeignRecord } from "../foreign-record.ts";
import type { GroupSocket } from "../group-socket.ts";
import type { ListenedStream } from "../listened-stream.ts";
import type { PacketSink } from "../packet-sink.ts";
import { CLOCK_STEP_NS, type KernelClock } from "./clock.ts";
import { joinGroup, leaveGroup, setListenOptions } from "./multicast-options.ts";
import { RECEIVE_BUFFER_BYTES } from "./probe-sockets.ts";
import type { ReceiveBlock } from "./receive-block.ts";
import { bindSocket, closeSocket, openUdpSocket, raiseReceiveBuffer, reuseAddress, socketDrops } from "./socket.ts";
import { readSocketAddress } from "./socket-address.ts";

/** Longest time that one socket is read without a look at the others. */
const LONGEST_DRAIN_NS = 20e6;

/** What the sockets of one listener thread share. */
export interface LinuxListenerTools {
  readonly clock: KernelClock;
  readonly block: ReceiveBlock;
  readonly interfaceIndex: number;
  /** The run's start on the monotonic clock; 0 before it is known. */
  startNs: number;
  clockSteps: number;
}

export class LinuxGroupSocket implements GroupSocket {
  readonly fd: number;
  /** As the kernel counts it, overhead included. */
  readonly receiveBufferBytes: number;
  readonly streams: readonly ListenedStream[];
  readonly foreign: ForeignRecord = new ForeignRecord();
  readonly #tools: LinuxListenerTools;
  readonly #sink: PacketSink;
  readonly #group: IpAddress;
  readonly #source: IpAddress | null;
  #drops = 0;
  #packet = 0;

  /** Opens and binds; joins nothing. @throws {SystemCallError} */
  constructor(
    tools: LinuxListenerTools,
    sink: PacketSink,
    group: IpAddress,
    port: number,
    source: IpAddress | null,
    streams: readonly ListenedStream[],
  ) {
    this.#tools = tools;
    this.#sink = sink;
    this.#group = group;
    this.#source = source;
    this.streams = streams;
    this.fd = openUdpSocket(group);
    try {
      reuseAddress(this.fd);
      setListenOptions(this.fd, group);
      this.receiveBufferBytes = raiseReceiveBuffer(this.fd, RECEIVE_BUFFER_BYTES);
      // Bound to the group itself, so the kernel brings nothing that was sent to another address.
      bindSocket(this.fd, group, port, tools.interfaceIndex);
    } catch (cause) {
      closeSocket(this.fd);
      throw cause;
    }
  }

  /** A companion comes to the host's own address, which needs no joining. */
  join(): void {
    if (!isMulticast(this.#group)) return;
    joinGroup(this.fd, this.#tools.interfaceIndex, this.#group, this.#source);
  }

  leave(): void {
    if (!isMulticast(this.#group)) return;
    leaveGroup(this.fd, this.#tools.interfaceIndex, this.#group, this.#source);
  }

  /** Hot path. */
  drain(): void {
    const { block, clock } = this.#tools;
    let untilNs = 0;
    for (;;) {
      const taken = block.receive(this.fd);
      if (taken <= 0) return; // nothing left, or an error that the socket has now told and forgotten
      const isStepped = Math.abs(clock.pair()) > CLOCK_STEP_NS;
      if (isStepped) this.#tools.clockSteps++;
      for (let i = 0; i < taken; i++) this.#take(i, isStepped);
      if (taken < block.capacity) return;
      if (untilNs === 0) untilNs = clock.pairedNs + LONGEST_DRAIN_NS;
      else if (clock.pairedNs > untilNs) return;
    }
  }

  drops(): number | null {
    return socketDrops(this.fd);
  }

  close(): void {
    closeSocket(this.fd);
  }

  #take(i: number, isStepped: boolean): void {
    const { block, clock, startNs, interfaceIndex } = this.#tools;
    block.read(i);
    this.#packet = i;
    const isStamped = block.arrivalSeconds >= 0 && !isStepped;
    const atNs = isStamped ? clock.toMonotonic(block.arrivalSeconds, block.arrivalNanoseconds) : clock.pairedNs;
    const arrivalNs = atNs - startNs;
    if (block.drops !== this.#drops && block.drops !== 0) {
      const drops = (block.drops - this.#drops) >>> 0;
      this.#drops = block.drops;
      this.#sink.noteHostDrops(this, drops, arrivalNs);
    }
    const isDirected = block.interfaceIndex === interfaceIndex && this.#isForGroup(block.destinationAt);
    const dscp = block.tos < 0 ? -1 : block.tos >> 2;
    const at = i * block.slotBytes;
    this.#sink.take(
      this,
      block.frame,
      block.bytes,
      at,
      block.lengthBytes,
      arrivalNs,
      block.ttl,
      dscp,
      isDirected,
      this.#sourceAddress,
    );
  }

  #isForGroup(at: number): boolean {
    if (at < 0) return false;
    const { control } = this.#tools.block;
    const { bytes } = this.#group;
    for (let i = 0; i < bytes.length; i++) if (control.getUint8(at + i) !== bytes[i]) return false;
    return true;
  }

  readonly #sourceAddress = (): string | null => {
    const { block } = this.#tools;
    return readSocketAddress(block.names, block.nameAt(this.#packet));
  };
}
