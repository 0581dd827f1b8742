import type { IpAddress } from "@dyetrace/wire";
import { formatIpAddress } from "@dyetrace/wire/ip-address";
import { ForeignRecord } from "../foreign-record.ts";
import type { GroupSocket, GroupWatch } from "../group-socket.ts";
import type { ListenedStream } from "../listened-stream.ts";
import type { PacketSink } from "../packet-sink.ts";
import { CLOCK_STEP_NS } from "./clock.ts";
import { groupFilter } from "./group-filter.ts";
import { isMemberOf } from "./host-groups.ts";
import type { LinuxListenerTools } from "./linux-group-socket.ts";
import { PacketSocket } from "./packet-socket.ts";

const ETHERNET_BYTES = 14;
const UDP_BYTES = 8;
/** Longest time that one socket is read without a look at the others. */
const LONGEST_DRAIN_NS = 20e6;
/** ARPHRD_ETHER and ARPHRD_LOOPBACK (linux/if_arp.h). */
const ETHERNET_LIKE: ReadonlySet<number> = new Set([1, 772]);

/**
 * One group and port as they pass the network card, whoever joined: packets go where those of a joined group would. It sends no
 * membership report, and what a host's firewall keeps from its programs it sees all the same.
 */
export class WatchSocket implements GroupSocket {
  readonly streams: readonly ListenedStream[];
  readonly foreign: ForeignRecord = new ForeignRecord();
  readonly watch: GroupWatch;
  readonly #tools: LinuxListenerTools;
  readonly #sink: PacketSink;
  readonly #socket: PacketSocket;
  readonly #source: IpAddress | null;
  #drops = 0;
  #unread = 0;
  /** Of the frame that is handed over. */
  #sourceAt = 0;
  #sourceBytes = 0;

  /** @throws {SystemCallError | Error} where this host does not let it watch */
  constructor(
    tools: LinuxListenerTools,
    sink: PacketSink,
    interfaceName: string,
    group: IpAddress,
    port: number,
    source: IpAddress | null,
    streams: readonly ListenedStream[],
  ) {
    this.#tools = tools;
    this.#sink = sink;
    this.#source = source;
    this.streams = streams;
    this.#socket = new PacketSocket(tools.interfaceIndex, groupFilter(group, port));
    if (!ETHERNET_LIKE.has(this.#socket.hardwareType)) {
      this.#socket.close();
      throw new Error(`frames of ${interfaceName} are not Ethernet`);
    }
    const [groupText, sourceText] = [
      formatIpAddress(group.bytes),
      source === null ? null : formatIpAddress(source.bytes),
    ];
    this.watch = {
      isMember: () => isMemberOf(interfaceName, groupText, sourceText),
      takeUnreadFrames: () => {
        const unread = this.#unread;
        this.#unread = 0;
        return unread;
      },
    };
  }

  get fd(): number {
    return this.#socket.fd;
  }

  get receiveBufferBytes(): number {
    return this.#socket.receiveBufferBytes;
  }

  /** Nothing is asked of the network. */
  join(): void {}

  leave(): void {}

  /** Hot path. An interface that goes down ends the watch: nothing comes then, here or to whoever joined. */
  drain(): void {
    const { clock, startNs } = this.#tools;
    let untilNs = 0;
    for (;;) {
      const taken = this.#socket.receive();
      if (taken <= 0) return;
      const isStepped = Math.abs(clock.pair()) > CLOCK_STEP_NS;
      if (isStepped) this.#tools.clockSteps++;
      for (let i = 0; i < taken; i++) this.#take(i, isStepped, startNs);
      if (taken < this.#socket.capacity) return;
      if (untilNs === 0) untilNs = clock.pairedNs + LONGEST_DRAIN_NS;
      else if (clock.pairedNs > untilNs) return;
    }
  }

  /** What found no room: it may well have come to the programs that joined, so it is this host's loss and never the network's. */
  drops(): number {
    const drops = this.#socket.takeDrops();
    this.#drops += drops;
    if (drops > 0) this.#sink.noteHostDrops(this, drops, this.#tools.clock.now() - this.#tools.startNs);
    return this.#drops;
  }

  close(): void {
    this.#socket.close();
  }

  #take(i: number, isStepped: boolean, startNs: number): void {
    const socket = this.#socket;
    socket.read(i);
    if (socket.vlanId >= 0) return; // another VLAN's
    const view = socket.frame;
    const at = i * socket.slotBytes;
    const captured = socket.lengthBytes;
    const isIpv4 = view.getUint16(at + 12) === 0x0800;
    const ipBytes = isIpv4 ? (view.getUint8(at + ETHERNET_BYTES) & 0x0f) * 4 : 40;
    this.#sourceAt = at + (isIpv4 ? 26 : 22);
    this.#sourceBytes = isIpv4 ? 4 : 16;
    if (!this.#isFromSource()) return;
    const udpAt = at + ETHERNET_BYTES + ipBytes;
    const isFragment = isIpv4 ? (view.getUint16(at + 20) & 0x3fff) !== 0 : view.getUint8(at + 20) !== 17;
    const length = isFragment ? -1 : view.getUint16(udpAt + 4) - UDP_BYTES;
    if (length < 0 || udpAt + UDP_BYTES + length > at + captured) {
      this.#unread += 1;
      return;
    }
    const { clock } = this.#tools;
    const atNs =
      socket.arrivalSeconds < 0 || isStepped
        ? clock.pairedNs
        : clock.toMonotonic(socket.arrivalSeconds, socket.arrivalNanoseconds);
    const ttl = view.getUint8(at + (isIpv4 ? 22 : 21));
    const dscp = isIpv4 ? view.getUint8(at + 15) >> 2 : (view.getUint16(at + 14) >> 6) & 0x3f;
    this.#sink.take(
      this,
      view,
      socket.bytes,
      udpAt + UDP_BYTES,
      length,
      atNs - startNs,
      ttl,
      dscp,
      true,
      this.#address,
    );
  }

  #isFromSource(): boolean {
    const source = this.#source;
    if (source === null) return true;
    for (let i = 0; i < this.#sourceBytes; i++) {
      if (this.#socket.bytes[this.#sourceAt + i] !== source.bytes[i]) return false;
    }
    return true;
  }

  readonly #address = (): string =>
    formatIpAddress(this.#socket.bytes.slice(this.#sourceAt, this.#sourceAt + this.#sourceBytes));
}
