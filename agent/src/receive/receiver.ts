import type { IpAddress } from "@dyetrace/wire";
import type { GroupSocket } from "../sockets/group-socket.ts";
import type { ListenedStream } from "../sockets/listened-stream.ts";
import type { PacketSink } from "../sockets/packet-sink.ts";
import type { DrivenRun } from "./driven-run.ts";

/**
 * What a thread receives with: sockets, and the loop that waits for their packets. Linux and portable sockets are two
 * of these; the sinks of a run and of a follower know no difference.
 */
export interface Receiver {
  readonly seesHostDrops: boolean;
  /** Most bytes of a packet that a sink is handed. */
  readonly slotBytes: number;
  /** The monotonic clock, ns. */
  readonly clock: () => number;
  /** A monotonic instant on the wall clock, ns since 1970. */
  readonly toWall: (monotonicNs: number) => bigint;
  /** Steps of the wall clock since the last call; null if it is not watched. */
  readonly takeClockSteps: () => number | null;
  /** Sockets opened with the result hand their packets to `sink`. */
  readonly opener: (sink: PacketSink) => OpenGroupSocket;
  /** As `opener`, with sockets that follow a group at the network card and join nothing; null where that can't be done. */
  readonly watcher: ((sink: PacketSink, interfaceName: string) => OpenGroupSocket) | null;
  /** Arrivals count from `startNs` on the monotonic clock. */
  readonly startAt: (startNs: number) => void;
  /** Waits for packets and calls `run.step`, until the run is over. */
  readonly drive: (run: DrivenRun, sockets: readonly GroupSocket[]) => void | Promise<void>;
}

/** Opens the socket of one group, port and source; it joins nothing. @throws {Error} what the host answered */
export type OpenGroupSocket = (
  group: IpAddress,
  port: number,
  source: IpAddress | null,
  streams: readonly ListenedStream[],
) => GroupSocket | Promise<GroupSocket>;
