import { readFileSync } from "node:fs";
import { readFile } from "node:fs/promises";
import { formatIpAddress } from "@dyetrace/wire/ip-address";

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

/** Sources that programs named when they joined a group of this interface (RFC 4607), by group: /proc/net/mcfilter and mcfilter6. */
export function readSourceFilters(ipv4: string, ipv6: string, interfaceName: string): Map<string, Set<string>> {
  const sources = new Map<string, Set<string>>();
  const add = (text: string, digits: number): void => {
    for (const line of text.split("\n")) {
      const [, name, group = "", source = "", included] = line.trim().split(/\s+/);
      if (name !== interfaceName || Number(included) === 0) continue;
      const [groupBytes, sourceBytes] = [hexBytes(group, digits), hexBytes(source, digits)];
      if (groupBytes === null || sourceBytes === null) continue;
      const key = formatIpAddress(groupBytes);
      sources.set(key, (sources.get(key) ?? new Set()).add(formatIpAddress(sourceBytes)));
    }
  };
  add(ipv4, 8);
  add(ipv6, 32);
  return sources;
}

function hexBytes(text: string, digits: number): Uint8Array | null {
  const bare = text.startsWith("0x") ? text.slice(2) : text;
  return bare.length === digits && /^[0-9a-f]+$/i.test(bare) ? Uint8Array.from(Buffer.from(bare, "hex")) : null;
}

/**
 * Whether some program on this host has joined a group, from one source where one is named. Reads at once: it is asked a few times a
 * second by a thread that waits for packets. The kernel does not list every filter by source (`igmp_mcf_get_first` in
 * net/ipv4/igmp.c goes by the latest group alone): where it lists none of the group, membership in the group has to do.
 */
export function isMemberOf(interfaceName: string, group: string, source: string | null): boolean {
  const isIpv6 = group.includes(":");
  const groups = isIpv6
    ? readIgmp6(textOf("/proc/net/igmp6"), interfaceName)
    : readIgmp(textOf("/proc/net/igmp"), interfaceName);
  if (!groups.includes(group)) return false;
  if (source === null) return true;
  const filters = isIpv6
    ? readSourceFilters("", textOf("/proc/net/mcfilter6"), interfaceName)
    : readSourceFilters(textOf("/proc/net/mcfilter"), "", interfaceName);
  return filters.get(group)?.has(source) ?? true;
}

function textOf(file: string): string {
  try {
    return readFileSync(file, "utf8");
  } catch {
    return ""; // a host without IPv6 has no igmp6
  }
}
