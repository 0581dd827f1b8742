import { Fault } from "@dyetrace/wire/fault";

/** What a receiving thread tells of an error; one that is no `Fault` is the host's answer. */
export const listeningFault = (cause: unknown): Fault =>
  cause instanceof Fault ? cause : new Fault("SOCKET_REFUSED", `Cannot listen: ${String(cause)}`, "");
