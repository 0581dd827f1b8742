import { existsSync, readFileSync } from "node:fs";
import { networkInterfaces } from "node:os";
import { type AgentInterface, Fault } from "@dyetrace/wire";
import { queryInterface } from "../sockets/linux/interface-query.ts";
import { isLinuxSupported } from "../sockets/linux/libc.ts";

/** What this host knows of one of its interfaces. @throws {Fault} INTERFACE_UNKNOWN, with the names that exist */
export function readInterface(name: string): AgentInterface {
  const all = networkInterfaces(); // those that are up and have an address
  const addresses = all[name] ?? [];
  const queried = isLinuxSupported() ? queryInterface(name) : null;
  if (queried === null && addresses.length === 0) {
    const names = Object.keys(all).join(", ");
    throw new Fault("INTERFACE_UNKNOWN", `This host has no interface "${name}"`, `Up are: ${names || "none"}.`);
  }
  const ipv6 = addresses.filter((address) => address.family === "IPv6");
  const facts = {
    name,
    ipv4: addresses.find((address) => address.family === "IPv4")?.address ?? null,
    ipv6: ipv6.map((address) => address.address),
  };
  if (queried === null) {
    const index = ipv6.find((address) => address.scopeid > 0)?.scopeid ?? null;
    const mac = addresses[0]?.mac ?? null;
    return { ...facts, index, mac, mtuBytes: null, speedBps: null, isUp: true, isWireless: null };
  }
  const { index, mac, mtuBytes, flags } = queried;
  const speedMbps = Number(readSys(name, index, "speed"));
  return {
    ...facts,
    index,
    mac,
    mtuBytes,
    speedBps: speedMbps > 0 ? speedMbps * 1e6 : null,
    isUp: flags.isUp && flags.isRunning,
    isWireless: readSys(name, index, "ifindex") === null ? null : existsSync(`/sys/class/net/${name}/wireless`),
  };
}

/**
 * A file under /sys/class/net, if that /sys is of our own network namespace.
 * @returns null when it is another's, or when this kind of interface has no such value
 */
export function readSys(name: string, index: number, file: string): string | null {
  try {
    const read = (what: string): string => readFileSync(`/sys/class/net/${name}/${what}`, "utf8").trim();
    return Number(read("ifindex")) === index ? read(file) : null;
  } catch {
    return null;
  }
}
