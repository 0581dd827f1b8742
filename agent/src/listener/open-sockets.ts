import type { AgentTask, TaskStream } from "@dyetrace/wire";
import { openGroupSocket } from "../receive/open-group-socket.ts";
import type { OpenGroupSocket } from "../receive/receiver.ts";
import type { GroupSocket } from "../sockets/group-socket.ts";
import { ListenedStream } from "../sockets/listened-stream.ts";

export interface WatchOptions {
  /** Streams of others that are followed without being joined. */
  readonly streams: readonly TaskStream[];
  readonly open: OpenGroupSocket;
  /** What can't be watched is told, and ends nothing. */
  readonly onRefused: (cause: unknown) => void;
}

/** Sockets for every stream that the task joins or watches; on failure those already open are closed. @throws {Fault} */
export async function openSockets(
  task: AgentTask,
  seesHostDrops: boolean,
  open: OpenGroupSocket,
  watch: WatchOptions | null,
): Promise<GroupSocket[]> {
  const joined = new Set(task.actions.filter(({ kind }) => kind === "join").map(({ streamId }) => streamId));
  const shared = new Map<string, TaskStream[]>();
  for (const stream of task.streams.filter(({ streamId }) => joined.has(streamId))) {
    const key = `${stream.group} ${stream.port} ${stream.ssmSource ?? "*"}`;
    shared.set(key, [...(shared.get(key) ?? []), stream]);
  }
  const sockets: GroupSocket[] = [];
  try {
    for (const streams of shared.values()) {
      const first = streams[0];
      if (first === undefined) continue;
      const listened = streams.map((stream) => new ListenedStream(stream, task.intervalNs, seesHostDrops));
      sockets.push(await openGroupSocket(first, listened, open));
    }
    for (const stream of watch?.streams ?? []) {
      const listened = [new ListenedStream(stream, task.intervalNs, seesHostDrops)];
      try {
        if (watch !== null) sockets.push(await openGroupSocket(stream, listened, watch.open));
      } catch (cause) {
        watch?.onRefused(cause);
      }
    }
    return sockets;
  } catch (fault) {
    for (const socket of sockets) socket.close();
    throw fault;
  }
}
