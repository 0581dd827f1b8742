import { accessSync, constants } from "node:fs";
import { join } from "node:path";
import { Fault } from "@dyetrace/wire";

/** The programs that a practice site runs, with the package of Debian and its kin that holds each. */
const PACKAGES = {
  unshare: "util-linux",
  nsenter: "util-linux",
  mount: "mount",
  ip: "iproute2",
  bridge: "iproute2",
  tc: "iproute2",
  nft: "nftables",
  pimd: "frr",
  snmpd: "snmpd",
  lldpd: "lldpd",
  lldpcli: "lldpd",
} as const;
export type Tool = keyof typeof PACKAGES;

export const isTool = (program: string): program is Tool => Object.hasOwn(PACKAGES, program);

/** The PATH, with the folders of the system's administration tools, which a plain user's often lacks. */
export const toolPath = (): string => `${process.env.PATH ?? ""}:/usr/sbin:/sbin:/usr/bin:/bin:/usr/lib/frr`;

/** @throws {Fault} NEEDS_TOOL if `tool` is not installed */
export function requireTool(tool: Tool): void {
  if (
    toolPath()
      .split(":")
      .some((folder) => isExecutable(join(folder, tool)))
  )
    return;
  throw new Fault(
    "NEEDS_TOOL",
    `A practice site needs the program "${tool}", and it is not installed`,
    `Install it, on Debian and its kin with: apt install ${PACKAGES[tool]}`,
  );
}

function isExecutable(path: string): boolean {
  try {
    accessSync(path, constants.X_OK);
    return true;
  } catch {
    return false;
  }
}
