import { emptyTestPacket, readTestPacket } from "@dyetrace/wire/test-packet";
import type { GroupSocket } from "../sockets/group-socket.ts";
import type { ListenedStream } from "../sockets/listened-stream.ts";
import type { PacketSink } from "../sockets/packet-sink.ts";

/** Reads test packets and hands each to its stream. One for a run; hot path throughout. */
export class PacketSorter implements PacketSink {
  readonly #runIdHi: number;
  readonly #runIdLo: number;
  readonly #packet = emptyTestPacket();
  #epochHi = 0;
  #epochLo = 0;

  /** @param runId 16 hexadecimal digits */
  constructor(runId: string) {
    this.#runIdHi = Number.parseInt(runId.slice(0, 8), 16);
    this.#runIdLo = Number.parseInt(runId.slice(8, 16), 16);
  }

  /** @param startWallNs the run's start on this host's wall clock, ns since 1970 */
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
      socket.foreign.count("misdirected", source);
      return;
    }
    const packet = this.#packet;
    const verdict = readTestPacket(frame, bytes, at, length, this.#epochHi, this.#epochLo, packet);
    if (verdict !== "test") {
      socket.foreign.count(verdict, source);
      return;
    }
    if (packet.runIdHi !== this.#runIdHi || packet.runIdLo !== this.#runIdLo) {
      socket.foreign.count("other-run", source);
      return;
    }
    const stream = streamOf(socket.streams, packet.streamId);
    if (stream === undefined) socket.foreign.count("other-stream", source);
    else stream.take(packet, arrivalNs, ttl, dscp);
  }

  noteHostDrops(socket: GroupSocket, drops: number, arrivalNs: number): void {
    for (const stream of socket.streams) stream.noteHostDrops(drops, arrivalNs);
  }
}

/** Nearly always the first and only one. */
function streamOf(streams: readonly ListenedStream[], streamId: number): ListenedStream | undefined {
  for (let i = 0; i < streams.length; i++) {
    const stream = streams[i];
    if (stream !== undefined && stream.stream.streamId === streamId) return stream;
  }
  return undefined;
}
