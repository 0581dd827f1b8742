import type { WatcherReport } from "@dyetrace/wire";
import { decodeMembershipFrame } from "@dyetrace/wire/decode-membership-frame";
import { Fault } from "@dyetrace/wire/fault";
import { CLOCK_STEP_NS, KernelClock } from "../sockets/linux/clock.ts";
import { errnoName, SystemCallError } from "../sockets/linux/libc.ts";
import { PACKET_OUTGOING, PacketSocket } from "../sockets/linux/packet-socket.ts";
import { FrameWatch } from "./frame-watch.ts";
import { GroupUseWatch } from "./group-use-watch.ts";
import type { HandedWatch } from "./handed-watch.ts";
import type { HeardBefore } from "./look/interface-look.ts";
import { lookFilter } from "./look-filter.ts";
import { MembershipLog } from "./membership-log.ts";
import { watchFilter } from "./watch-filter.ts";
import type { WatcherSetup, WatchPlan } from "./watcher-protocol.ts";

/** ARPHRD_ETHER and ARPHRD_LOOPBACK (linux/if_arp.h): both have the Ethernet header that the filter counts on. */
const ETHERNET_LIKE: ReadonlySet<number> = new Set([1, 772]);
const IP_PROTOCOL_UDP = 17;
/** Batches taken in one go; bounds the time until the thread looks at its messages again. */
const MOST_BATCHES = 64;

/** One interface under watch, with whatever happens to it: a link that goes down ends the watch until it is up again. */
export class InterfaceWatch {
  readonly #setup: WatcherSetup;
  readonly #clock = new KernelClock();
  readonly #log: MembershipLog;
  #socket: PacketSocket;
  #filter: ArrayBuffer = watchFilter([]);
  #frames: FrameWatch | null = null;
  #use: GroupUseWatch | null = null;
  #startNs = 0;
  #drops = 0;
  /** The wall clock stepped while the batch under way arrived. */
  #isStepped = false;
  /** Since when it has watched without a break, on the monotonic clock; null while the interface is down. */
  #sinceNs: number | null;

  /**
   * @param handed of another thread's; without it a watch begins
   * @throws {SystemCallError | Fault} when the host does not let this process watch, or has no such interface
   */
  constructor(setup: WatcherSetup, handed?: HandedWatch) {
    this.#setup = setup;
    this.#log = new MembershipLog(handed?.history);
    if (handed !== undefined) {
      this.#socket = new PacketSocket(setup.interfaceIndex, this.#filter, { adopted: handed.socket });
      this.#sinceNs = handed.sinceNs;
      this.#startNs = this.#clock.now();
      return;
    }
    this.#socket = new PacketSocket(setup.interfaceIndex, this.#filter);
    if (!ETHERNET_LIKE.has(this.#socket.hardwareType)) {
      this.#socket.close();
      throw new Fault(
        "AGENT_CANNOT",
        `Cannot watch ${setup.interfaceName}: its frames are not Ethernet (hardware type ${this.#socket.hardwareType})`,
        "Use an Ethernet or Wi-Fi interface, or go without what the watcher sees.",
      );
    }
    this.#sinceNs = this.#clock.now();
    this.#startNs = this.#sinceNs;
  }

  /** Changes with `reopen`. */
  get fd(): number {
    return this.#socket.fd;
  }

  get receiveBufferBytes(): number {
    return this.#socket.receiveBufferBytes;
  }

  get isDown(): boolean {
    return this.#sinceNs === null;
  }

  /** Counts anew, for this run. */
  watch(plan: WatchPlan): void {
    const groups = plan.streams.map(({ group }) => group);
    const isLook = plan.looksForUse === true;
    this.#filter = isLook ? lookFilter(groups) : watchFilter(plan.streams.map((stream) => stream.port));
    this.#socket.attach(this.#filter);
    this.drain();
    if (!this.isDown) this.#socket.takeDrops();
    this.#drops = 0;
    this.#startNs = plan.startMonotonicNs;
    this.#frames = new FrameWatch(plan);
    this.#use = isLook ? new GroupUseWatch(groups) : null;
    this.#log.begin(this.#clock.now());
  }

  /** Takes what has arrived, without waiting. @returns false when there may be more */
  drain(): boolean {
    for (let batch = 0; batch < MOST_BATCHES; batch++) {
      const count = this.#socket.receive();
      if (count < 0) {
        this.#lose(this.#socket.errno);
        return true;
      }
      // Stamps of before a step of the wall clock would be off by it: then the time of the reading has to do.
      if (count > 0) this.#isStepped = Math.abs(this.#clock.pair()) > CLOCK_STEP_NS;
      for (let i = 0; i < count; i++) this.#take(i);
      if (count < this.#socket.capacity) return true;
    }
    return false;
  }

  /** After the interface went down: opens a new socket. @returns true when the interface is watched again */
  reopen(): boolean {
    const fresh = new PacketSocket(this.#setup.interfaceIndex, this.#filter);
    if (fresh.receive() < 0) {
      fresh.close(); // still down
      return false;
    }
    this.#socket.close();
    this.#socket = fresh;
    this.#sinceNs = this.#clock.now();
    return true;
  }

  /** What came since the last call, or since `watch`. */
  report(): WatcherReport {
    this.drain();
    if (!this.isDown) this.#drops += this.#socket.takeDrops();
    const report = {
      sinceNs: this.#sinceNs === null ? null : this.#sinceNs - this.#startNs,
      streams: this.#frames?.snapshot() ?? [],
      ...this.#log.take(this.#startNs),
      ...(this.#use === null ? {} : { groupUse: this.#use.snapshot() }),
      dropped: this.#drops,
    };
    this.#drops = 0;
    return report;
  }

  /** What was said about groups in the last minutes. */
  heardBefore(): readonly HeardBefore[] {
    this.drain();
    return this.#log.recent(this.#clock.now());
  }

  /** Ends what is counted of a run, and gives the watch to another thread; this object is of no use any more. */
  handOver(): HandedWatch {
    this.#frames = null;
    this.#use = null;
    this.#filter = watchFilter([]);
    this.#socket.attach(this.#filter);
    const { fd, receiveBufferBytes, hardwareType } = this.#socket;
    return { socket: { fd, receiveBufferBytes, hardwareType }, history: this.#log.history, sinceNs: this.#sinceNs };
  }

  close(): void {
    this.#socket.close();
  }

  /** Hot path. */
  #take(i: number): void {
    const socket = this.#socket;
    socket.read(i);
    const at = i * socket.slotBytes;
    const view = socket.frame;
    const use = this.#use;
    if (use !== null && !isMembership(view, at)) {
      use.take(view, socket.bytes, at, socket.lengthBytes, socket.vlanId);
      if (socket.packetType === PACKET_OUTGOING) return;
    }
    const atNs =
      socket.arrivalSeconds < 0 || this.#isStepped
        ? this.#clock.pairedNs
        : this.#clock.toMonotonic(socket.arrivalSeconds, socket.arrivalNanoseconds);
    if (isUdp(view, at)) {
      this.#frames?.take(view, socket.bytes, at, socket.lengthBytes, socket.packetType, socket.vlanId, atNs);
      return;
    }
    const frame = new DataView(view.buffer, at, socket.slotBytes);
    const message = decodeMembershipFrame(socket.bytes.subarray(at, at + socket.slotBytes), frame, socket.lengthBytes);
    if (message === null) return;
    const direction = socket.packetType === PACKET_OUTGOING ? "out" : "in";
    const vlanId = socket.vlanId < 0 ? message.vlanId : socket.vlanId;
    this.#log.add(atNs, direction, { ...message, vlanId });
  }

  /** The interface went down or away: the kernel says so once, then the socket is deaf. */
  #lose(errno: number): void {
    if (errnoName(errno) !== "ENETDOWN") throw new SystemCallError("recvmmsg(AF_PACKET)", errno);
    if (this.#sinceNs !== null) this.#drops += this.#socket.takeDrops();
    this.#sinceNs = null;
  }
}

/** IGMP, PIM, or ICMPv6 with a hop-by-hop header or without: no data of anybody's. */
function isMembership(view: DataView, at: number): boolean {
  if (view.getUint16(at + 12) === 0x0800) return [2, 103].includes(view.getUint8(at + 23));
  return [0, 58, 103].includes(view.getUint8(at + 20));
}

/** Hot path. */
function isUdp(view: DataView, at: number): boolean {
  const ethertype = view.getUint16(at + 12);
  if (ethertype === 0x0800) return view.getUint8(at + 23) === IP_PROTOCOL_UDP;
  const next = view.getUint8(at + 20);
  return (
    ethertype === 0x86dd && (next === IP_PROTOCOL_UDP || (next === 44 && view.getUint8(at + 54) === IP_PROTOCOL_UDP))
  );
}
