import type { DecodedTestPacket, PacketVerdict } from "@dyetrace/wire/test-packet";
import type { SortedSink } from "../receive/packet-sorter.ts";
import type { GroupSocket } from "../sockets/group-socket.ts";
import type { ListenedStream } from "../sockets/listened-stream.ts";

/** Hands each test packet of one run to its stream, and counts everything else at its socket. Hot path throughout. */
export class RunSink implements SortedSink {
  readonly #runIdHi: number;
  readonly #runIdLo: number;
  readonly #slotBytes: number;

  /** @param runId 16 hexadecimal digits; @param slotBytes most bytes of a packet that are handed over */
  constructor(runId: string, slotBytes: number) {
    this.#slotBytes = slotBytes;
    this.#runIdHi = Number.parseInt(runId.slice(0, 8), 16);
    this.#runIdLo = Number.parseInt(runId.slice(8, 16), 16);
  }

  takeMisdirected(socket: GroupSocket, source: () => string | null): void {
    socket.foreign.count("misdirected", source);
  }

  takeTest(
    socket: GroupSocket,
    packet: DecodedTestPacket,
    arrivalNs: number,
    ttl: number,
    dscp: number,
    source: () => string | null,
  ): void {
    if (packet.runIdHi !== this.#runIdHi || packet.runIdLo !== this.#runIdLo) {
      socket.foreign.count("other-run", source);
      return;
    }
    const stream = streamOf(socket.streams, packet.streamId);
    if (stream === undefined) socket.foreign.count("other-stream", source);
    else stream.take(packet, arrivalNs, ttl, dscp);
  }

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
  ): void {
    const stream = socket.streams[0];
    if (stream?.stream.production === undefined) socket.foreign.count(verdict, source);
    else stream.follow(bytes, at, Math.min(length, this.#slotBytes), length, arrivalNs, ttl, dscp, source);
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
