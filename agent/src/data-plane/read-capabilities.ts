import { networkInterfaces, release } from "node:os";
import { type AgentCapabilities, type AgentInterface, Fault } from "@dyetrace/wire";
import { isLinuxSupported } from "../sockets/linux/libc.ts";
import { probeSockets } from "../sockets/linux/probe-sockets.ts";
import type { DataPlaneOptions } from "./data-plane.ts";
import { readInterface } from "./interface-facts.ts";
import { readWifiFacts } from "./wifi-watch.ts";

/** What an agent with these options can do on this host. @throws {Fault} INTERFACE_UNKNOWN, AGENT_CANNOT */
export function readCapabilities(options: DataPlaneOptions): AgentCapabilities {
  const wanted = options.sockets ?? "auto";
  if (wanted === "linux" && !isLinuxSupported()) {
    throw new Fault(
      "AGENT_CANNOT",
      `There are no Linux sockets on ${process.platform} ${process.arch}`,
      "Use portable.",
    );
  }
  const host = {
    platform: process.platform,
    osRelease: release(),
    architecture: process.arch,
    nodeVersion: process.version,
    interface: withWifi(readInterface(options.interfaceName)),
    guards: options.guards,
  };
  if (wanted === "portable" || !isLinuxSupported()) {
    return {
      ...host,
      sockets: "portable",
      kernelTimestamps: false,
      hostLossCount: false,
      ttlSeen: false,
      dscpSeen: false,
      destinationSeen: false,
      ssm: true,
      ipv6: Object.values(networkInterfaces()).some((addresses) => addresses?.some(({ family }) => family === "IPv6")),
      watcher: false,
      receiveBufferBytes: null,
    };
  }
  const probe = probeSockets();
  return {
    ...host,
    sockets: "linux",
    kernelTimestamps: true,
    hostLossCount: probe.hostLossCount,
    ttlSeen: true,
    dscpSeen: true,
    destinationSeen: true,
    ssm: true,
    ipv6: probe.ipv6,
    watcher: probe.packetSockets,
    receiveBufferBytes: probe.receiveBufferBytes,
  };
}

function withWifi(facts: AgentInterface): AgentInterface {
  const wifi = facts.isWireless === false ? null : readWifiFacts(facts.index);
  return wifi === null ? facts : { ...facts, wifi };
}
