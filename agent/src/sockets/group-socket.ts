import type { ForeignRecord } from "./foreign-record.ts";
import type { ListenedStream } from "./listened-stream.ts";

/**
 * The socket of one group, port and source. Streams that differ in none of these share it; any other stream has a socket
 * of its own, so that what the host dropped is known for each stream, and no limit on memberships per socket is met.
 * Linux and portable sockets both are this.
 */
export interface GroupSocket {
  readonly streams: readonly ListenedStream[];
  readonly foreign: ForeignRecord;
  /** Asks the kernel for the group. @throws {Error} if it refuses */
  join(): void;
  /** @throws {Error} if the kernel refuses */
  leave(): void;
  /** Takes in what has arrived, where that can be done at once. */
  drain(): void;
  /** @returns packets that the host dropped at this socket since it was opened; null if it does not tell */
  drops(): number | null;
  close(): void;
  /** Set where the socket follows what passes the network card, and joins nothing. */
  readonly watch?: GroupWatch;
}

export interface GroupWatch {
  /** Whether some program on this host has joined the group, as the kernel has it now. */
  isMember(): boolean;
  /** Frames to the group since the last call that could not be read. */
  takeUnreadFrames(): number;
}
