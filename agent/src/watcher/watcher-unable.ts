import { Fault } from "@dyetrace/wire/fault";

/** Why this host cannot watch an interface, for the user. */
export function watcherUnable(interfaceName: string, cause: unknown): Fault {
  if (cause instanceof Fault) return cause;
  const code = cause instanceof Error && "code" in cause ? cause.code : null;
  const what = `Cannot watch frames on ${interfaceName}`;
  const loss = "Without it this agent cannot see queries, reports or traffic that nobody here joined.";
  switch (code) {
    case "EPERM":
    case "EACCES":
      return new Fault(
        "NEEDS_PRIVILEGE",
        `${what}: the kernel gives packet sockets only to processes with CAP_NET_RAW`,
        `Run the agent as root, or its systemd unit with AmbientCapabilities=CAP_NET_RAW. ${loss}`,
        { cause },
      );
    case "ENODEV":
    case "ENXIO":
      return new Fault("INTERFACE_UNKNOWN", `${what}: there is no such interface`, loss, { cause });
    default:
      return new Fault("SOCKET_REFUSED", `${what}: ${cause instanceof Error ? cause.message : String(cause)}`, loss, {
        cause,
      });
  }
}
