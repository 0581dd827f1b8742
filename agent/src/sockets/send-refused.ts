import type { TaskStream } from "@dyetrace/wire";
import { Fault } from "@dyetrace/wire/fault";

/** The host would not open a stream's socket. @param why its answer, as `ENETUNREACH` */
export function sendRefused(stream: TaskStream, interfaceName: string, why: string, cause: unknown): Fault {
  const hint =
    why === "ENETUNREACH" || why === "EADDRNOTAVAIL"
      ? `Give ${interfaceName} an address of the group's family, or a route: ip route add ${stream.group} dev ${interfaceName}.`
      : `Check that ${interfaceName} is up.`;
  const message = `Cannot send to ${stream.group} on ${interfaceName}: the kernel answered ${why}`;
  return new Fault("SEND_REFUSED", message, hint, { cause });
}
