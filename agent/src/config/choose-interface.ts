import { networkInterfaces } from "node:os";
import { Fault } from "@dyetrace/wire";

/** The one interface that is not loopback. @throws {Fault} INTERFACE_UNKNOWN where a guess could test the wrong network */
export function chooseInterface(): string {
  const names = Object.entries(networkInterfaces())
    .filter(([, addresses]) => addresses?.some((address) => !address.internal))
    .map(([name]) => name);
  const [only, ...more] = names;
  if (only !== undefined && more.length === 0) return only;
  const which = names.length === 0 ? "none has an address" : `there are ${names.join(", ")}`;
  throw new Fault("INTERFACE_UNKNOWN", `Cannot tell which interface to test: ${which}`, "Name it with --interface");
}
