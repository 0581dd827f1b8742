import { Fault } from "@dyetrace/wire";

/** `127.0.0.1:8472`, `[::1]:8472`. @throws {Fault} OPTION_INVALID */
export function parseListen(text: string): {
  readonly host: string;
  readonly port: number;
} {
  const match = /^(?:\[([0-9a-fA-F:.]+)\]|([^:[\]]+)):([0-9]{1,5})$/.exec(text);
  const host = match?.[1] ?? match?.[2];
  const port = Number(match?.[3]);
  if (host === undefined || !(port <= 65_535)) {
    throw new Fault(
      "OPTION_INVALID",
      `--listen ${text} is no address with a port`,
      "Write, for example, 127.0.0.1:8472",
    );
  }
  return { host, port };
}
