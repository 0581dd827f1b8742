import { readFile } from "node:fs/promises";

/**
 * The versions of IGMP and MLD that this host's settings press it into on an interface: the kernel takes the setting for
 * all interfaces first, then the interface's own (net/ipv4/igmp.c, net/ipv6/mcast.c).
 * @returns 0 where none does; null where the kernel does not tell
 */
export async function forcedVersions(interfaceName: string): Promise<{ igmp: number; mld: number } | null> {
  const [igmp, mld] = await Promise.all([
    setting(interfaceName, (conf) => `/proc/sys/net/ipv4/conf/${conf}/force_igmp_version`),
    setting(interfaceName, (conf) => `/proc/sys/net/ipv6/conf/${conf}/force_mld_version`),
  ]);
  return igmp === null ? null : { igmp, mld: mld ?? 0 };
}

async function setting(interfaceName: string, fileOf: (conf: string) => string): Promise<number | null> {
  const read = (conf: string): Promise<number | null> =>
    readFile(fileOf(conf), "utf8").then(
      (text) => (/^[0-3]\n?$/.test(text) ? Number(text) : null),
      () => null,
    );
  const [all, own] = await Promise.all([read("all"), read(interfaceName)]);
  return all === null && own === null ? null : all || own || 0;
}
