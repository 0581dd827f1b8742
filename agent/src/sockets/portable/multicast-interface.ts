import { Fault } from "@dyetrace/wire/fault";

/** What names the interface. */
export interface InterfaceSetup {
  readonly interfaceName: string;
  readonly interfaceIndex: number;
  /** Own address on the interface, for the portable sockets, which do not know interfaces by index. */
  readonly interfaceIpv4: string | null;
}

/**
 * How the run-time's sockets name an interface: by its IPv4 address, or for IPv6 as `::%eth0` (on Windows `::%12`).
 * @throws {Fault} AGENT_CANNOT when it has no address of the group's family
 */
export function multicastInterface(group: string, setup: InterfaceSetup): string {
  if (group.includes(":")) return `::%${process.platform === "win32" ? setup.interfaceIndex : setup.interfaceName}`;
  if (setup.interfaceIpv4 !== null) return setup.interfaceIpv4;
  throw new Fault(
    "AGENT_CANNOT",
    `Cannot use ${group} on ${setup.interfaceName}: it has no IPv4 address`,
    "Give it one, or use an IPv6 group.",
  );
}
