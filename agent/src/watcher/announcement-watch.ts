import { decodeAnnouncement } from "@dyetrace/wire/surroundings/decode-announcement";
import { type Announcement, MOST_ANNOUNCEMENTS } from "@dyetrace/wire/surroundings/surroundings-schema";
import { assembleBpf, BPF_PACKET_TYPE } from "../sockets/linux/bpf-program.ts";
import { queryInterface } from "../sockets/linux/interface-query.ts";
import { isLinuxSupported } from "../sockets/linux/libc.ts";
import { PACKET_OUTGOING, PacketSocket } from "../sockets/linux/packet-socket.ts";

/** linux/if_ether.h has no name for it; IEEE 802.1AB, table 7-2. */
const ETH_P_LLDP = 0x88cc;
/** A neighbour announces itself every 30 s (IEEE 802.1AB, 9.2.5.7): a few frames between two looks at the socket. */
const BUFFER_BYTES = 64 * 1024;
/** Of others: what a program of this host announces is no neighbour's. */
const FILTER = (): ArrayBuffer =>
  assembleBpf([["ldb", BPF_PACKET_TYPE], ["jeq", PACKET_OUTGOING, "drop", null], ["ret", 0xffff], "drop", ["ret", 0]]);

export interface Heard {
  readonly announcement: Announcement;
  /** When it came, on the clock of `performance.now()`. */
  readonly atMs: number;
}

/**
 * Hears what the neighbours of one interface announce of themselves (LLDP), with a socket of its own. It sends nothing. A
 * neighbour is forgotten when its time to live is over, or at its own word.
 */
export class AnnouncementWatch {
  readonly #interfaceName: string;
  readonly #heard = new Map<string, Heard>();
  #socket: PacketSocket | null = null;
  #sinceMs = 0;

  constructor(interfaceName: string) {
    this.#interfaceName = interfaceName;
    this.#open();
  }

  /** Takes what has arrived, without waiting. @param nowMs of `performance.now()` */
  drain(nowMs: number): void {
    if (this.#socket === null) this.#open();
    for (let count = this.#socket?.receive() ?? 0; count !== 0; count = this.#socket?.receive() ?? 0) {
      if (count < 0) {
        this.close(); // the interface went down, or away: another socket is opened at the next look
        break;
      }
      for (let i = 0; i < count; i++) this.#take(i, nowMs);
    }
    for (const [key, { announcement, atMs }] of this.#heard) {
      if (nowMs - atMs > announcement.ttlS * 1000) this.#heard.delete(key);
    }
  }

  /** @returns null where this host cannot hear them now */
  get heard(): readonly Heard[] | null {
    return this.#socket === null ? null : [...this.#heard.values()];
  }

  /** For how long it has listened without a break, ms. */
  heardForMs(nowMs: number): number {
    return this.#socket === null ? 0 : nowMs - this.#sinceMs;
  }

  close(): void {
    this.#socket?.close();
    this.#socket = null;
    this.#heard.clear();
  }

  #open(): void {
    try {
      const index = isLinuxSupported() ? queryInterface(this.#interfaceName)?.index : undefined;
      if (index === undefined) return;
      this.#socket = new PacketSocket(index, FILTER(), { protocol: ETH_P_LLDP, bufferBytes: BUFFER_BYTES });
      this.#sinceMs = performance.now();
    } catch {
      this.#socket = null; // no right to, or no such interface now: told as not heard
    }
  }

  #take(i: number, nowMs: number): void {
    const socket = this.#socket;
    if (socket === null) return;
    socket.read(i);
    const at = i * socket.slotBytes;
    const announcement = decodeAnnouncement(socket.bytes.slice(at, at + socket.lengthBytes));
    if (announcement === null) return;
    const key = `${announcement.chassis} ${announcement.portId}`;
    // Who is known is heard again even where many announce themselves.
    if (this.#heard.size >= MOST_ANNOUNCEMENTS && !this.#heard.has(key)) return;
    this.#heard.set(key, { announcement, atMs: nowMs });
  }
}
