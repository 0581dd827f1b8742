import type { MembershipMessage } from "@dyetrace/wire";
import { decodeMembershipFrame } from "@dyetrace/wire/decode-membership-frame";
import type { AgentSight } from "@dyetrace/wire/inventory/sight-schema";
import { CLOCK_STEP_NS, KernelClock } from "../../sockets/linux/clock.ts";
import { errnoName, SystemCallError } from "../../sockets/linux/libc.ts";
import { PacketSocket } from "../../sockets/linux/packet-socket.ts";
import { allGroupsFilter } from "./all-groups-filter.ts";
import { AskBook } from "./ask-book.ts";
import { FlowTable } from "./flow-table.ts";

/** What the watcher tells of a look; the host's own memberships and addresses are added outside of its thread. */
export type InterfaceSight = Omit<AgentSight, "joined" | "addresses">;

/** Batches taken in one go; bounds the time until the thread looks at its messages again. */
const MOST_BATCHES = 64;

/** A message heard before the look, on the monotonic clock. */
export interface HeardBefore {
  readonly monotonicNs: number;
  readonly message: MembershipMessage;
}

/**
 * Looks at everything multicast that passes one interface, with a socket of its own: a run's watch goes on beside it, and knows
 * nothing of it. It joins nothing and sends nothing.
 */
export class InterfaceLook {
  readonly #clock = new KernelClock();
  readonly #socket: PacketSocket;
  readonly #flows = new FlowTable();
  readonly #asks = new AskBook();
  readonly #startNs: number;
  #endNs: number | null = null;
  #drops = 0;
  #isStepped = false;

  /** @param heardBefore what was said about groups in the minutes before @throws {SystemCallError} */
  constructor(interfaceIndex: number, heardBefore: readonly HeardBefore[]) {
    this.#socket = new PacketSocket(interfaceIndex, allGroupsFilter());
    this.#startNs = this.#clock.now();
    for (const { message, monotonicNs } of heardBefore) this.#asks.take(message, monotonicNs - this.#startNs);
  }

  get fd(): number {
    return this.#socket.fd;
  }

  /** Takes what has arrived, without waiting. @returns false when there may be more */
  drain(): boolean {
    if (this.#endNs !== null) return true;
    for (let batch = 0; batch < MOST_BATCHES; batch++) {
      const count = this.#socket.receive();
      if (count < 0) {
        this.#lose();
        return true;
      }
      if (count > 0) this.#isStepped = Math.abs(this.#clock.pair()) > CLOCK_STEP_NS;
      for (let i = 0; i < count; i++) this.#take(i);
      if (count < this.#socket.capacity) return true;
    }
    return false;
  }

  /** What was seen until now. */
  sight(): InterfaceSight {
    this.drain();
    const nowNs = this.#clock.now() - this.#startNs;
    const endNs = this.#endNs ?? nowNs;
    if (this.#endNs === null) this.#drops += this.#socket.takeDrops();
    return {
      lookedNs: endNs,
      isWhole: this.#endNs === null,
      flows: this.#flows.flows(),
      furtherFrames: this.#flows.furtherFrames,
      asks: this.#asks.asks(nowNs),
      furtherAsks: this.#asks.further,
      queriers: this.#asks.queriers(nowNs),
      dropped: this.#drops,
    };
  }

  close(): void {
    this.#socket.close();
  }

  /** Hot path. */
  #take(i: number): void {
    const socket = this.#socket;
    socket.read(i);
    const at = i * socket.slotBytes;
    const hasTime = socket.arrivalSeconds >= 0 && !this.#isStepped;
    const monotonicNs = hasTime
      ? this.#clock.toMonotonic(socket.arrivalSeconds, socket.arrivalNanoseconds)
      : this.#clock.pairedNs;
    const atNs = monotonicNs - this.#startNs;
    if (mayBeMembership(socket.frame, at)) {
      const whole = socket.bytes.subarray(at, at + socket.slotBytes);
      const view = new DataView(whole.buffer, whole.byteOffset, whole.byteLength);
      const message = decodeMembershipFrame(whole, view, socket.lengthBytes);
      if (message !== null) {
        if (socket.vlanId < 0) this.#asks.take(message, atNs);
        // Reports and specific queries of some versions go to the group that they are about, and carry no data of it.
        if (!CONTROL_GROUPS.has(message.destination)) return;
      }
    }
    this.#flows.take(socket.frame, at, socket.lengthBytes, socket.packetType, socket.vlanId, atNs);
  }

  /** The interface went down or away: the kernel says so once, then the socket is deaf. */
  #lose(): void {
    const { errno } = this.#socket;
    if (errnoName(errno) !== "ENETDOWN") throw new SystemCallError("recvmmsg(AF_PACKET)", errno);
    this.#drops += this.#socket.takeDrops();
    this.#endNs = this.#clock.now() - this.#startNs;
  }
}

/** All hosts, all routers, and where IGMPv3 and MLDv2 reports go (RFC 3376 4.2.14, RFC 3810 5.2.14). */
const CONTROL_GROUPS: ReadonlySet<string> = new Set([
  "224.0.0.1",
  "224.0.0.2",
  "224.0.0.13",
  "224.0.0.22",
  "ff02::1",
  "ff02::2",
  "ff02::d",
  "ff02::16",
]);

/** Hot path: IGMP, PIM, or ICMPv6 with a hop-by-hop header or without. */
function mayBeMembership(view: DataView, at: number): boolean {
  const isIpv4 = view.getUint16(at + 12) === 0x0800;
  const protocol = view.getUint8(at + (isIpv4 ? 23 : 20));
  return isIpv4 ? protocol === 2 || protocol === 103 : protocol === 0 || protocol === 58 || protocol === 103;
}
