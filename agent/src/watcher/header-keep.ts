import { CLOCK_STEP_NS, KernelClock } from "../sockets/linux/clock.ts";
import { PACKET_OUTGOING, PacketSocket } from "../sockets/linux/packet-socket.ts";
import { frameBytesOf, headerBytesOf } from "./header-cut.ts";
import { HeaderRing } from "./header-ring.ts";
import { lookFilter } from "./look-filter.ts";

export interface KeepPlan {
  /** The run's start on CLOCK_MONOTONIC, ns. */
  readonly startMonotonicNs: number;
  readonly groups: readonly string[];
  /** Room for headers of data; membership messages and queries have a quarter of that for themselves, and are kept whole. */
  readonly roomBytes: number;
  /** When it stops, after the run's start, ns: what was kept stays for a while after that. */
  readonly untilNs: number;
}

export interface KeptHeaders {
  /** Records of `header-records`, data and membership apart. */
  readonly data: Uint8Array;
  readonly membership: Uint8Array;
  /** Frames that made room for later ones, found no room in the answer, or were lost by the host. */
  readonly overwritten: number;
  readonly leftOut: number;
  readonly dropped: number;
}

const MOST_BATCHES = 64;
const MEMBERSHIP_SHARE = 0.25;

/** Keeps the latest headers of a run's groups, with a socket of its own: nothing is joined, nothing sent, and no payload kept. */
export class HeaderKeep {
  readonly #plan: KeepPlan;
  readonly #clock = new KernelClock();
  readonly #data: HeaderRing;
  readonly #membership: HeaderRing;
  #socket: PacketSocket | null;
  #drops = 0;
  #isStepped = false;

  /** @throws {SystemCallError} */
  constructor(interfaceIndex: number, plan: KeepPlan) {
    this.#plan = plan;
    this.#socket = new PacketSocket(interfaceIndex, lookFilter(plan.groups));
    this.#data = new HeaderRing(plan.roomBytes);
    this.#membership = new HeaderRing(Math.ceil(plan.roomBytes * MEMBERSHIP_SHARE));
  }

  /** Null once it has stopped. */
  get fd(): number | null {
    return this.#socket?.fd ?? null;
  }

  /** Takes what has arrived, without waiting; stops when its time is over or the interface is gone. @returns false when there may be more */
  drain(): boolean {
    const socket = this.#socket;
    if (socket === null) return true;
    for (let batch = 0; batch < MOST_BATCHES; batch++) {
      const count = socket.receive();
      if (count < 0) {
        this.#stop();
        return true;
      }
      if (count > 0) this.#isStepped = Math.abs(this.#clock.pair()) > CLOCK_STEP_NS;
      for (let i = 0; i < count; i++) this.#take(socket, i);
      if (count < socket.capacity) break;
      if (batch === MOST_BATCHES - 1) return false;
    }
    if (this.#clock.now() - this.#plan.startMonotonicNs > this.#plan.untilNs) this.#stop();
    return true;
  }

  /** @param fromNs, toNs after the run's start */
  read(fromNs: number, toNs: number, mostBytes: number): KeptHeaders {
    this.drain();
    if (this.#socket !== null) this.#drops += this.#socket.takeDrops();
    const membership = this.#membership.read(fromNs, toNs, Math.floor(mostBytes * MEMBERSHIP_SHARE));
    const data = this.#data.read(fromNs, toNs, mostBytes - membership.bytes.length);
    return {
      data: data.bytes,
      membership: membership.bytes,
      overwritten: this.#data.overwritten + this.#membership.overwritten,
      leftOut: data.leftOut + membership.leftOut,
      dropped: this.#drops,
    };
  }

  close(): void {
    this.#socket?.close();
    this.#socket = null;
  }

  /** Hot path. */
  #take(socket: PacketSocket, i: number): void {
    socket.read(i);
    const at = i * socket.slotBytes;
    const hasTime = socket.arrivalSeconds >= 0 && !this.#isStepped;
    const monotonicNs = hasTime
      ? this.#clock.toMonotonic(socket.arrivalSeconds, socket.arrivalNanoseconds)
      : this.#clock.pairedNs;
    const view = socket.frame;
    const captured = socket.lengthBytes;
    const isWhole = isControl(view, at);
    const ring = isWhole ? this.#membership : this.#data;
    const keptBytes = isWhole ? captured : headerBytesOf(view, at, captured);
    const originalBytes = isWhole ? captured : frameBytesOf(view, at, captured);
    const vlanId = Math.max(0, socket.vlanId);
    const atNs = monotonicNs - this.#plan.startMonotonicNs;
    ring.add(socket.bytes, at, keptBytes, originalBytes, atNs, vlanId, socket.packetType === PACKET_OUTGOING);
  }

  #stop(): void {
    if (this.#socket !== null) this.#drops += this.#socket.takeDrops();
    this.close();
  }
}

/** Hot path: IGMP, PIM or ICMPv6, with a hop-by-hop header or without, as `MEMBERSHIP_LINES` lets through whole. */
function isControl(view: DataView, at: number): boolean {
  const isIpv4 = view.getUint16(at + 12) === 0x0800;
  const protocol = view.getUint8(at + (isIpv4 ? 23 : 20));
  return isIpv4 ? protocol === 2 || protocol === 103 : protocol === 0 || protocol === 58 || protocol === 103;
}
