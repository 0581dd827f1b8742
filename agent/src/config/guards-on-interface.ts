import { type NetworkInterfaceInfo, networkInterfaces } from "node:os";
import { formatIpAddress, type Guards, networkOf, parseIpAddress } from "@dyetrace/wire";
import type { AgentConfig } from "./agent-config.ts";

/** The guards of a host for the interface that it tests: where its file names no companion hosts, that interface's own subnets. */
export function guardsOnInterface(
  { guards, namesCompanionHosts }: Pick<AgentConfig, "guards" | "namesCompanionHosts">,
  interfaceName: string,
  all: Readonly<NodeJS.Dict<Pick<NetworkInterfaceInfo, "cidr">[]>> = networkInterfaces(),
): Guards {
  return namesCompanionHosts ? guards : { ...guards, companionHosts: subnetsOf(all[interfaceName] ?? []) };
}

const subnetsOf = (addresses: readonly Pick<NetworkInterfaceInfo, "cidr">[]): string[] => [
  ...new Set(
    addresses.flatMap(({ cidr }) => {
      const [host = "", bits = ""] = (cidr ?? "").split("/");
      const address = parseIpAddress(host);
      return address === null ? [] : [`${formatIpAddress(networkOf(address, Number(bits)))}/${bits}`];
    }),
  ),
];
