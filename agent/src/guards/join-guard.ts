import type { AgentTask, Guards, IpAddress, TaskStream } from "@dyetrace/wire";
import { isInRange, parseAddressRanges } from "@dyetrace/wire/address-range";
import { Fault } from "@dyetrace/wire/fault";
import { isMulticast, parseIpAddress } from "@dyetrace/wire/ip-address";
import { isAmongPorts } from "@dyetrace/wire/port-range";
import { IN_FILE, taskRefused } from "./guarded-stream.ts";

/** @returns why this host does not join all that a task joins at some time, or null */
export function refuseJoins(task: AgentTask, guards: Guards): Fault | null {
  const ids = new Set(task.actions.filter(({ kind }) => kind === "join").map(({ streamId }) => streamId));
  const joined = task.streams.filter(({ streamId }) => ids.has(streamId));
  if (joined.length > guards.maxJoins) {
    return taskRefused(
      `join ${joined.length} streams in one run: the most is ${guards.maxJoins}`,
      `Let it join fewer, or see max-joins ${IN_FILE}.`,
    );
  }
  for (const stream of joined) {
    const refusal = refuseJoin(stream, guards);
    if (refusal !== null) return refusal;
  }
  return null;
}

/** Groups of the link are every host's and every router's own business (RFC 5771 section 4, RFC 4291 section 2.7). */
const LINK_LOCAL = parseAddressRanges(["224.0.0.0/24", "ff02::/16", "ff01::/16"]);

/** @param allowed the ranges of groups that this host lets be followed */
export const mayFollow = (address: IpAddress, allowed: readonly string[]): boolean =>
  !LINK_LOCAL.some((range) => isInRange(address, range)) &&
  parseAddressRanges(allowed).some((range) => isInRange(address, range));

function refuseJoin({ name, group: text, port, companionOf, production }: TaskStream, guards: Guards): Fault | null {
  const address = parseIpAddress(text);
  if (address === null)
    return new Fault("ADDRESS_INVALID", `"${text}" is no IP address`, "Write, for example, 239.195.1.1");
  const isCompanion = companionOf !== undefined;
  const refuse = (reason: string, hint: string): Fault => taskRefused(`listen to ${name} on ${text}: ${reason}`, hint);
  if (isMulticast(address) === isCompanion) {
    return refuse(isCompanion ? "a companion comes to a host's own address" : "that is no group address", "");
  }
  const [ports, key] = isCompanion
    ? [guards.companionPorts, "companion-ports"]
    : [guards.allowedPorts, "allowed-ports"];
  if (!isAmongPorts(port, ports)) {
    return refuse(
      `port ${port} is none of ${ports.join(", ") || "(none)"}`,
      `Choose another port, or see ${key} ${IN_FILE}.`,
    );
  }
  if (production !== undefined && !mayFollow(address, guards.allowedFollows ?? [])) {
    return refuse("streams of that group may not be followed", `See allowed-follows ${IN_FILE}.`);
  }
  if (isCompanion || parseAddressRanges(guards.allowedJoins).some((range) => isInRange(address, range))) {
    return null;
  }
  return refuse(`only ${guards.allowedJoins.join(", ") || "no groups"} may be joined`, `See allowed-joins ${IN_FILE}.`);
}
