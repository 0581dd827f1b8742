import { readFileSync } from "node:fs";
import { MOST_GATEWAYS, type Surroundings } from "@dyetrace/wire/surroundings/surroundings-schema";

/** Routers by which this interface sends, of IPv4: /proc/net/route, and their Ethernet addresses in /proc/net/arp. */
export function gatewaysOf(interfaceName: string): Surroundings["gateways"] {
  const [routes, arp] = [readTable("/proc/net/route"), readTable("/proc/net/arp")];
  const known = readArp(arp, interfaceName);
  const addresses = [...new Set(readRoutes(routes, interfaceName))].slice(0, MOST_GATEWAYS);
  return addresses.map((address) => ({ address, mac: known.get(address) ?? null }));
}

/** At once: through the pool of threads, the same few bytes woke four of them each second. */
function readTable(file: string): string {
  try {
    return readFileSync(file, "utf8");
  } catch {
    return "";
  }
}

/** Interface, destination and gateway in the host's byte order; zero: the subnet itself. */
export function readRoutes(text: string, interfaceName: string): string[] {
  return text.split("\n").flatMap((line) => {
    const [name, , gateway = ""] = line.split(/\s+/);
    if (name !== interfaceName || !/^[0-9A-F]{8}$/.test(gateway) || gateway === "00000000") return [];
    const bytes = Uint8Array.from(Buffer.from(gateway, "hex"));
    return [(IS_LITTLE_ENDIAN ? bytes.reverse() : bytes).join(".")];
  });
}

/** Address, type, flags, Ethernet address, mask, interface. Flag 2: the entry is complete (ATF_COM of linux/if_arp.h). */
export function readArp(text: string, interfaceName: string): ReadonlyMap<string, string> {
  return new Map(
    text.split("\n").flatMap((line): [string, string][] => {
      const [address = "", , flags = "", mac = "", , name] = line.trim().split(/\s+/);
      const isWhole = name === interfaceName && (Number(flags) & 2) !== 0 && /^([0-9a-f]{2}:){5}[0-9a-f]{2}$/.test(mac);
      return isWhole ? [[address, mac]] : [];
    }),
  );
}

const IS_LITTLE_ENDIAN = new Uint8Array(Uint16Array.of(1).buffer)[0] === 1;
