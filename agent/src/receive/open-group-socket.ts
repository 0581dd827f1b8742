import type { IpAddress } from "@dyetrace/wire";
import { Fault } from "@dyetrace/wire/fault";
import { parseIpAddress } from "@dyetrace/wire/ip-address";
import type { GroupSocket } from "../sockets/group-socket.ts";
import type { ListenedStream } from "../sockets/listened-stream.ts";
import type { OpenGroupSocket } from "./receiver.ts";

/** Group, port and source as a task or a user names them. */
export interface ListenedGroup {
  readonly group: string;
  readonly port: number;
  /** Address of the one source to join (RFC 4607), null for any. */
  readonly ssmSource: string | null;
}

/** @throws {Fault} ADDRESS_INVALID, SOCKET_REFUSED with what the host answered */
export async function openGroupSocket(
  { group, port, ssmSource }: ListenedGroup,
  streams: readonly ListenedStream[],
  open: OpenGroupSocket,
): Promise<GroupSocket> {
  const groupAddress = addressOf(group);
  const source = ssmSource === null ? null : addressOf(ssmSource);
  try {
    return await open(groupAddress, port, source, streams);
  } catch (cause) {
    const hint = String(cause).includes("EMFILE")
      ? "Raise the limit of open files of this process (ulimit -n)."
      : "Another program may hold the port without sharing it.";
    throw new Fault("SOCKET_REFUSED", `Cannot listen to ${group} port ${port}: ${String(cause)}`, hint, { cause });
  }
}

function addressOf(text: string): IpAddress {
  const address = parseIpAddress(text);
  if (address === null)
    throw new Fault("ADDRESS_INVALID", `"${text}" is no IP address`, "Write, for example, 239.195.1.1");
  return address;
}
