import { readFile } from "node:fs/promises";

/** 0 off, 1 strict (RFC 3704 2.2), 2 loose; null where it cannot be read. */
export async function reversePathMode(interfaceName: string): Promise<0 | 1 | 2 | null> {
  const modes = await Promise.all(["all", interfaceName].map(readMode));
  if (modes.some((mode) => mode === null)) return null;
  const mode = Math.max(...modes.map(Number)); // the kernel takes the higher one (ip-sysctl, rp_filter)
  return mode === 1 ? 1 : mode === 2 ? 2 : 0;
}

async function readMode(name: string): Promise<number | null> {
  const text = await readFile(`/proc/sys/net/ipv4/conf/${name}/rp_filter`, "utf8").catch(() => null);
  return text === null ? null : Number(text.trim());
}

/** IPv4 packets that the reverse-path filter has dropped in this network namespace since it exists. */
export async function reversePathDrops(): Promise<number | null> {
  const netstat = await readFile("/proc/net/netstat", "utf8").catch(() => null);
  return netstat === null ? null : netstatCounter(netstat, "TcpExt", "IPReversePathFilter");
}

/** /proc/net/netstat holds pairs of lines: names, then values in the same order. */
export function netstatCounter(netstat: string, group: string, name: string): number | null {
  const [names, values] = netstat
    .split("\n")
    .filter((line) => line.startsWith(`${group}:`))
    .map((line) => line.split(" "));
  const at = names?.indexOf(name) ?? -1;
  const value = at < 0 ? undefined : values?.[at];
  return value === undefined ? null : Number(value);
}
