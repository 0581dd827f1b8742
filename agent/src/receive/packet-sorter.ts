import {
  type DecodedTestPacket,
  emptyTestPacket,
  type PacketVerdict,
  readTestPacket,
} from "@dyetrace/wire/test-packet";
import type { GroupSocket } from "../sockets/group-socket.ts";
import type { PacketSink } from "../sockets/packet-sink.ts";

/**
 * Where sorted packets go: the streams of a run, or the flows that are followed. Arrivals are ns after the start; `ttl`
 * and `dscp` are -1 if unknown; `source` is the sender's address, asked for rarely. Hot path throughout.
 */
export interface SortedSink {
  /** Came in by another interface, or for another group. */
  takeMisdirected(socket: GroupSocket, source: () => string | null): void;
  /** @param packet one of ours; overwritten by the next */
  takeTest(
    socket: GroupSocket,
    packet: DecodedTestPacket,
    arrivalNs: number,
    ttl: number,
    dscp: number,
    source: () => string | null,
  ): void;
  /** @param length of the packet as it arrived; what was copied of it stands at `at` */
  takeOther(
    socket: GroupSocket,
    verdict: Exclude<PacketVerdict, "test">,
    bytes: Uint8Array,
    at: number,
    length: number,
    arrivalNs: number,
    ttl: number,
    dscp: number,
    source: () => string | null,
  ): void;
  /** As `PacketSink`. */
  noteHostDrops(socket: GroupSocket, drops: number, arrivalNs: number): void;
}

/** Tells test packets from all others, and what came astray. One for a run; hot path throughout. */
export class PacketSorter implements PacketSink {
  readonly #sink: SortedSink;
  readonly #packet = emptyTestPacket();
  #epochHi = 0;
  #epochLo = 0;

  constructor(sink: SortedSink) {
    this.#sink = sink;
  }

  /** @param startWallNs the instant that arrivals count from, on this host's wall clock, ns since 1970 */
  anchor(startWallNs: bigint): void {
    this.#epochHi = Number(startWallNs >> 32n);
    this.#epochLo = Number(startWallNs & 0xffffffffn);
  }

  take(
    socket: GroupSocket,
    frame: DataView,
    bytes: Uint8Array,
    at: number,
    length: number,
    arrivalNs: number,
    ttl: number,
    dscp: number,
    isDirected: boolean,
    source: () => string | null,
  ): void {
    if (!isDirected) {
      this.#sink.takeMisdirected(socket, source);
      return;
    }
    const packet = this.#packet;
    const verdict = readTestPacket(frame, bytes, at, length, this.#epochHi, this.#epochLo, packet);
    if (verdict === "test") this.#sink.takeTest(socket, packet, arrivalNs, ttl, dscp, source);
    else this.#sink.takeOther(socket, verdict, bytes, at, length, arrivalNs, ttl, dscp, source);
  }

  noteHostDrops(socket: GroupSocket, drops: number, arrivalNs: number): void {
    this.#sink.noteHostDrops(socket, drops, arrivalNs);
  }
}
