import { readFileSync } from "node:fs";

/** @returns a kernel setting such as `net.ipv4.ip_forward`, or null where it cannot be read */
export function readSetting(name: string): number | null {
  return readCount(`/proc/sys/${name.replaceAll(".", "/")}`);
}

/** The same for a setting of one interface, whose name may hold dots. */
export const readInterfaceSetting = (family: "ipv4" | "ipv6", interfaceName: string, name: string): number | null =>
  readCount(`/proc/sys/net/${family}/conf/${interfaceName}/${name}`);

function readCount(path: string): number | null {
  const text = readText(path)?.trim() ?? "";
  return /^-?[0-9]+$/.test(text) ? Number(text) : null;
}

/** @returns the file's text, or null where it cannot be read */
export function readText(path: string): string | null {
  try {
    return readFileSync(path, "utf8");
  } catch {
    return null;
  }
}
