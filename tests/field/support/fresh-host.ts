import { fileURLToPath } from "node:url";
import type { ExecResult, PracticeSite } from "@dyetrace/practice";
import { PACKAGE_PLACE } from "./pack-agent.ts";

/**
 * A host of a practice site with a file system of its own: this machine's, on which everything that is written goes to
 * memory and is gone with it. The repository stands at /opt/dyetrace, to be read. No systemd runs there, and it has root.
 */
export interface FreshHost extends AsyncDisposable {
  /** Runs a line in a root shell of that host. */
  shell(line: string): Promise<ExecResult>;
}

const REPOSITORY = fileURLToPath(new URL("../../..", import.meta.url));

/** Mounts this machine's root below an upper layer in memory; folders that hold live kernel views are made anew. */
const SETUP = `set -e
mount -t tmpfs tmpfs /mnt
mkdir /mnt/up /mnt/work /mnt/root
mount -t overlay overlay -o lowerdir=/,upperdir=/mnt/up,workdir=/mnt/work /mnt/root
mount --bind /dev /mnt/root/dev
mount -t proc proc /mnt/root/proc
mount -t sysfs sysfs /mnt/root/sys || true
mount -t tmpfs tmpfs /mnt/root/run
mount -t tmpfs tmpfs /mnt/root/tmp
rm -rf /mnt/root/opt/dyetrace-agent /mnt/root/etc/dyetrace /mnt/root/var/lib/dyetrace-agent
# Its own /tmp hides a repository that lies there, and a folder such as /root keeps other users from one in it.
mkdir /mnt/root/opt/dyetrace
mkdir -p "$REPOSITORY/${PACKAGE_PLACE}"
mount --bind "$REPOSITORY" /mnt/root/opt/dyetrace
mount -o remount,bind,ro /mnt/root/opt/dyetrace
[ -z "$PACKAGE" ] || mount --bind "$PACKAGE" "/mnt/root/opt/dyetrace/${PACKAGE_PLACE}"
echo ready
exec chroot /mnt/root sleep 3600`;

/** @param agentPackage for a controller there: folder of the agent's package that it hands out */
export async function raiseFreshHost(site: PracticeSite, node: string, agentPackage = ""): Promise<FreshHost> {
  let ready = (): void => {};
  const standing = new Promise<void>((resolve) => {
    ready = resolve;
  });
  const words: string[] = [];
  const process = await site.spawn(node, ["unshare", "--mount", "--propagation", "private", "sh", "-c", SETUP], {
    env: { REPOSITORY, PACKAGE: agentPackage },
    onLine: (line) => {
      words.push(line);
      if (line === "ready") ready();
    },
  });
  const lost = process.exit.then(() => Promise.reject(new Error(`No fresh host: ${words.join(" | ")}`)));
  lost.catch(() => undefined);
  await Promise.race([standing, lost]);
  const enter = ["nsenter", "-t", String(process.pid), "--mount", "--root", "--wd", "sh", "-c"];
  return {
    shell: (line) => site.exec(node, [...enter, line], { env: { HOME: "/root" } }),
    [Symbol.asyncDispose]: async () => {
      process.signal("SIGKILL");
      await process.exit;
    },
  };
}
