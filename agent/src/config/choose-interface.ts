import { networkInterfaces } from "node:os";
import { Fault } from "@dyetrace/wire";

/** The one interface that is not loopback. @throws {Fault} INTERFACE_UNKNOWN where there is none yet; OPTION_INVALID where a guess could test the wrong network */
export function chooseInterface(): string {
  const names = Object.entries(networkInterfaces())
    .filter(([, addresses]) => addresses?.some((address) => !address.internal))
    .map(([name]) => name);
  const [only, ...more] = names;
  if (only !== undefined && more.length === 0) return only;
  const hint = "Name it with --interface";
  if (only === undefined) {
    throw new Fault("INTERFACE_UNKNOWN", "Cannot tell which interface to test: none has an address", hint);
  }
  // More will not become fewer by waiting.
  throw new Fault("OPTION_INVALID", `Cannot tell which interface to test: there are ${names.join(", ")}`, hint);
}
