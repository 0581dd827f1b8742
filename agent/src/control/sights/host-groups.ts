import { readFile } from "node:fs/promises";
import { formatIpAddress } from "@dyetrace/wire";

/**
 * The groups that an interface of this host is a member of, by whatever program: /proc/net/igmp and /proc/net/igmp6.
 * @returns addresses in canonical text; null where the kernel does not tell
 */
export async function groupsOfHost(interfaceName: string): Promise<ReadonlySet<string> | null> {
  const [igmp, igmp6] = await Promise.all(
    ["/proc/net/igmp", "/proc/net/igmp6"].map((file) => readFile(file, "utf8").catch(() => null)),
  );
  if (igmp == null) return null; // a host without IPv6 has no igmp6
  return new Set([...readIgmp(igmp, interfaceName), ...readIgmp6(igmp6 ?? "", interfaceName)]);
}

/** Interfaces stand at the margin, their groups below them, each as the hexadecimal of a number in the host's byte order. */
export function readIgmp(text: string, interfaceName: string): string[] {
  const groups: string[] = [];
  let current = "";
  for (const line of text.split("\n")) {
    const heading = /^[0-9]+\s+([^\s:]+)\s*:/.exec(line);
    if (heading !== null) current = heading[1] ?? "";
    const group = /^\s+([0-9A-F]{8})\s/.exec(line)?.[1];
    if (group === undefined || current !== interfaceName) continue;
    const bytes = Uint8Array.from(Buffer.from(group, "hex"));
    groups.push(formatIpAddress(IS_LITTLE_ENDIAN ? bytes.reverse() : bytes));
  }
  return groups;
}

export function readIgmp6(text: string, interfaceName: string): string[] {
  return text.split("\n").flatMap((line) => {
    const [, name, group] = line.trim().split(/\s+/);
    if (name !== interfaceName || group === undefined || !/^[0-9a-f]{32}$/.test(group)) return [];
    return [formatIpAddress(Uint8Array.from(Buffer.from(group, "hex")))];
  });
}

const IS_LITTLE_ENDIAN = new Uint8Array(Uint16Array.of(1).buffer)[0] === 1;
