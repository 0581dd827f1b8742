import type { TaskStream } from "@dyetrace/wire";
import { Fault } from "@dyetrace/wire/fault";

type JoinedGroup = Pick<TaskStream, "group" | "ssmSource">;

/** The kernel would not join (or leave) a group. @param cause its answer */
export function joinRefused(stream: JoinedGroup, interfaceName: string, cause: unknown): Fault {
  const code = cause instanceof Error && "code" in cause ? String(cause.code) : String(cause);
  const from = stream.ssmSource === null ? "" : ` from ${stream.ssmSource}`;
  const message = `Cannot join ${stream.group}${from} on ${interfaceName}: the kernel answered ${code}`;
  return new Fault("JOIN_REFUSED", message, hintOf(code, stream, interfaceName), { cause });
}

function hintOf(code: string, stream: JoinedGroup, interfaceName: string): string {
  if (code === "ENOBUFS") return "Raise net.ipv4.igmp_max_memberships (and net.ipv4.igmp_max_msf) on this host.";
  if (code === "ENODEV") return `Check that ${interfaceName} is up and has an address of the group's family.`;
  if (stream.ssmSource !== null && (code === "EINVAL" || code === "EADDRNOTAVAIL"))
    return "The source must be a unicast address of the group's family.";
  return `Check that ${interfaceName} is up.`;
}
