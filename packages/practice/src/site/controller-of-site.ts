import { readdirSync, readFileSync, readlinkSync } from "node:fs";
import type { StandingSite } from "./find-practice-sites.ts";

/** TCP_LISTEN of the kernel's net/tcp_states.h, as /proc/net/tcp has it (proc_net_tcp in its documentation). */
const LISTENS = "0A";

/**
 * Where the controller of a standing practice site listens on this machine: it is in the process that raised the site, outside the
 * site's namespaces. Read from /proc; a site writes nothing to disk.
 * @returns `http://127.0.0.1:PORT`; null: that process has no such socket, or has ended
 */
export function controllerOfSite({ hostPid }: StandingSite): string | null {
  try {
    for (let pid = parentOf(hostPid); pid > 1; pid = parentOf(pid)) {
      const port = listeningPort(pid);
      if (port !== null) return `http://127.0.0.1:${port}`;
    }
  } catch {
    // it has ended meanwhile, or is not ours to read
  }
  return null;
}

const parentOf = (pid: number): number =>
  Number(/^PPid:\s*([0-9]+)/m.exec(readFileSync(`/proc/${pid}/status`, "utf8"))?.[1]);

/** Of IPv4's loopback: the address is in the machine's own order of octets. */
function listeningPort(pid: number): number | null {
  const sockets = new Set(
    readdirSync(`/proc/${pid}/fd`).flatMap((fd) => {
      try {
        return /^socket:\[([0-9]+)\]$/.exec(readlinkSync(`/proc/${pid}/fd/${fd}`))?.[1] ?? [];
      } catch {
        return []; // closed meanwhile
      }
    }),
  );
  for (const line of readFileSync("/proc/self/net/tcp", "utf8").split("\n").slice(1)) {
    const [, local = "", , state, , , , , , inode = ""] = line.trim().split(/\s+/);
    if (state === LISTENS && sockets.has(inode)) return Number.parseInt(local.split(":")[1] ?? "", 16);
  }
  return null;
}
