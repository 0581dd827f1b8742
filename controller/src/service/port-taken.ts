import { Fault } from "@dyetrace/wire";

/** @param cause why the system gave no socket at this address */
export function portTaken(
  options: { readonly host: string; readonly port: number },
  cause: NodeJS.ErrnoException,
): Fault {
  return new Fault(
    "PORT_TAKEN",
    `Cannot listen on ${options.host}:${options.port}: ${cause.code ?? cause.message}`,
    "Another program has it, perhaps another dyetrace; choose an address with --listen HOST:PORT",
    { cause },
  );
}
