import type { AgentTask, IpAddress, TaskStream } from "@dyetrace/wire";
import { Fault } from "@dyetrace/wire/fault";
import { parseIpAddress } from "@dyetrace/wire/ip-address";
import type { GroupSocket } from "../sockets/group-socket.ts";
import { ListenedStream } from "../sockets/listened-stream.ts";

/** What opens the socket of one group, port and source. @throws {Error} what the host answered */
export type OpenGroupSocket = (
  group: IpAddress,
  port: number,
  source: IpAddress | null,
  streams: readonly ListenedStream[],
) => GroupSocket | Promise<GroupSocket>;

/** Sockets for every stream that the task joins; on failure those already open are closed. @throws {Fault} */
export async function openSockets(
  task: AgentTask,
  seesHostDrops: boolean,
  open: OpenGroupSocket,
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
      sockets.push(await openOne(first, listened, open));
    }
    return sockets;
  } catch (fault) {
    for (const socket of sockets) socket.close();
    throw fault;
  }
}

async function openOne(
  stream: TaskStream,
  listened: readonly ListenedStream[],
  open: OpenGroupSocket,
): Promise<GroupSocket> {
  const group = addressOf(stream.group);
  const source = stream.ssmSource === null ? null : addressOf(stream.ssmSource);
  try {
    return await open(group, stream.port, source, listened);
  } catch (cause) {
    const hint = String(cause).includes("EMFILE")
      ? "Raise the limit of open files of this process (ulimit -n)."
      : "Another program may hold the port without sharing it.";
    throw new Fault("SOCKET_REFUSED", `Cannot listen to ${stream.group} port ${stream.port}: ${String(cause)}`, hint, {
      cause,
    });
  }
}

function addressOf(text: string): IpAddress {
  const address = parseIpAddress(text);
  if (address === null)
    throw new Fault("ADDRESS_INVALID", `"${text}" is no IP address`, "Write, for example, 239.195.1.1");
  return address;
}
