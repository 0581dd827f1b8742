import type { GroupSocket } from "./group-socket.ts";

/** Takes in what sockets receive. Implementations keep the hot path's rules: no allocation per packet. */
export interface PacketSink {
  /**
   * @param length of the packet as it arrived; its first `min(length, slot size)` bytes stand at `at`
   * @param arrivalNs after the run's start; @param ttl, dscp -1 if unknown
   * @param isDirected false if it came in by another interface or for another group
   * @param source the sender's address, asked for rarely
   */
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
  ): void;

  /**
   * The socket tells, with the packet that is about to be taken, that the host dropped packets before it.
   * @param drops since the last call, of whatever stream of the socket
   */
  noteHostDrops(socket: GroupSocket, drops: number, arrivalNs: number): void;
}
