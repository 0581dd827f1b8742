import { readFileSync } from "node:fs";
import { isLinuxSupported } from "../sockets/linux/libc.ts";

/** Numbers in linux/capability.h. */
const CAPABILITIES = { CAP_NET_ADMIN: 12n, CAP_NET_RAW: 13n, CAP_SYS_NICE: 23n } as const;

/** What each missing right keeps an agent from. */
const LOSSES: Readonly<Record<keyof typeof CAPABILITIES, string>> = {
  CAP_NET_RAW: "cannot watch frames that it did not join: leaks, queries and leave delays stay unknown here",
  CAP_NET_ADMIN:
    "cannot raise its receive buffer past net.core.rmem_max, nor read this host's firewall to explain loss",
  CAP_SYS_NICE: "cannot go before other programs of this host: when it is busy, a source sends late, and says so",
};

/** @returns one sentence for each thing that this process may not do, with the right that is missing; null: unreadable */
export function lackingRights(): string[] | null {
  if (!isLinuxSupported()) return null;
  let status: string;
  try {
    status = readFileSync("/proc/self/status", "utf8");
  } catch {
    return null;
  }
  return lackingIn(status);
}

/** @param status text of /proc/PID/status (proc(5)) */
export function lackingIn(status: string): string[] | null {
  const effective = /^CapEff:\s*([0-9a-f]+)$/m.exec(status)?.[1];
  if (effective === undefined) return null;
  const has = (bit: bigint): boolean => ((BigInt(`0x${effective}`) >> bit) & 1n) === 1n;
  return Object.entries(CAPABILITIES).flatMap(([name, bit]) =>
    has(bit) ? [] : [`${LOSSES[name as keyof typeof CAPABILITIES]} (no ${name})`],
  );
}
